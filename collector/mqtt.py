"""The connection to the broker: what arrives goes into the inbox, and is acknowledged when the caller says so. Shell.

Each connection has a paho client of its own, turned by our own thread. paho sends an acknowledgement on whatever
connection it has at that moment, where the same packet id may belong to another message; so each delivery carries the
number of its connection, and the acknowledgement of an older one is dropped. The broker then sends the message again.
"""

import logging
import random
import selectors
import socket
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.broker import PAUSES_S, Attempt, Broker, Choice
from collector.events import GapSuspected
from collector.health import Health, State
from collector.inbox import Delivery, Inbox
from collector.sample import Instant, Message

log = logging.getLogger(__name__)

PART = "broker"
KEEPALIVE_S = 30
ANSWER_S = 5.0
"""How long a broker may take to answer the first CONNECT before MQTT 3.1.1 is tried instead."""
TURN_S = 1.0
READ_MAX = 50
SLICE_S = 0.2
HANG_UP_S = 1.0
STUMBLED_S = 1.0
PACKET_BYTES_MAX = 2 * 1024 * 1024
"""What one message may hold before an MQTT 5 broker keeps it back; far above any reading, far below our memory."""
BRIEF_TOLD = 3
GAPS_MAX = 1_000
REFUSED_FROM = 0x80


class Link:
    """Keeps one persistent session at the broker and fills the inbox from it.

    `last_at` is when the last message arrived before this start, None where there never was one: if the broker knows
    no session of ours then, messages sent since may be lost, and `gaps` says so.
    """

    def __init__(
        self,
        broker: Broker,
        inbox: Inbox,
        clock: Callable[[], Instant],
        health: Health,
        *,
        last_at: Instant | None = None,
        chance: random.Random | None = None,
        pauses_s: tuple[float, float] = PAUSES_S,
        answer_s: float = ANSWER_S,
    ) -> None:
        self.broker = broker
        self.inbox = inbox
        self.gaps: deque[GapSuspected] = deque(maxlen=GAPS_MAX)
        self.restarts = 0
        """How often the network thread had died and was started again."""
        self.stumbles = 0
        self.connections = 0
        self.choice = Choice(broker, chance or random.Random(), pauses_s)
        self._clock = clock
        self._health = health
        self._last_at = last_at
        self._lost_from_at: Instant | None = None
        """Since when messages may be lost: the broker has forgotten us, and our new subscription does not stand yet."""
        self._answer_s = answer_s
        self._lock = threading.Lock()
        self._client: paho.Client | None = None
        self._generation = 0
        self._received = 0
        self._stop = threading.Event()
        self._wanted = threading.Event()
        self._waker, self._woken = socket.socketpair()
        self._waker.setblocking(False)
        self._woken.setblocking(False)
        self._thread = self._new_thread()

    def start(self) -> None:
        self._health.say(PART, State.STARTING, f"Connecting to the broker at {self.broker}.", self._clock())
        self._wanted.set()
        self._thread.start()

    def stop(self) -> None:
        """Send what was acknowledged, hang up, and end the thread."""
        self._stop.set()
        self._wake()
        if self._thread.is_alive():
            self._thread.join(timeout=10.0)
        self._waker.close()
        self._woken.close()
        self._health.say(PART, State.STOPPED, "Not connected: the program is stopping.", self._clock())

    def supervise(self) -> None:
        """Start the network thread again if it has died of something that no handler of ours could stop."""
        if self._thread.ident is not None and not self._thread.is_alive() and not self._stop.is_set():
            self.restarts += 1
            log.error("the network thread had died; it is started again (%d)", self.restarts)
            self._thread = self._new_thread()
            self._thread.start()

    def hold(self) -> None:
        """Hang up and stay away: nothing arrives, nothing more is acknowledged, the broker keeps what it has."""
        self._wanted.clear()
        self._retire(None)
        self._wake()

    def release(self) -> None:
        """Connect again."""
        self._wanted.set()

    @property
    def alive(self) -> bool:
        """Return whether the network thread runs."""
        return self._thread.is_alive()

    def acknowledge(self, deliveries: Iterable[Delivery]) -> None:
        """Send PUBACK for each, in this order, if the connection that it came on still stands."""
        with self._lock:
            if self._client is None:
                return
            for delivery in deliveries:
                if delivery.qos and delivery.generation == self._generation:
                    self._client.ack(delivery.mid, delivery.qos)

    def _retire(self, client: paho.Client | None) -> None:
        """Make every packet id given so far void, of this client or of any."""
        with self._lock:
            if client is None or self._client is client:
                self._client = None
                self._generation += 1

    def _new_thread(self) -> threading.Thread:
        return threading.Thread(target=self._run, name="mqtt", daemon=True)

    def _wake(self) -> None:
        try:
            self._waker.send(b"\0")
        except BlockingIOError:
            pass  # It is being woken already.
        except OSError as fault:
            log.debug("waking the network thread after its end: %s", fault)

    # From here on: the network thread.

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                pause_s = self._attempt() if self._wanted.wait(SLICE_S) else 0.0
            except Exception as fault:  # noqa: BLE001 - the network thread never ends by itself
                log.exception("the network thread stumbled")
                self.stumbles += 1
                self._tell_ended(f"it was given up after a fault of our own ({type(fault).__name__})")
                pause_s = STUMBLED_S
            if pause_s:
                self._stop.wait(pause_s)

    def _attempt(self) -> float:
        """Dial, serve until the connection ends, and return how long to wait before the next attempt. [s]"""
        attempt = Attempt(self.choice.protocol)
        client = self._new_client(attempt)
        began = time.monotonic()
        try:
            self._dial(client, attempt)
            self._serve(client, attempt)
        except (OSError, UnicodeError) as fault:
            attempt.ended = f"it cannot be reached ({fault})"
        finally:
            self._retire(client)
            _close(client)
        if self._stop.is_set():
            return 0.0
        if not self._wanted.is_set():
            self._health.say(PART, State.DOUBTFUL, "Hung up on purpose: readings cannot be kept now.", self._clock())
            return 0.0
        log.warning("event=disconnected broker=%s protocol=%s reason=%r", self.broker, attempt.protocol, attempt.ended)
        pause_s = self.choice.after(attempt, time.monotonic() - began)
        if self.choice.brief >= BRIEF_TOLD:
            attempt.ended += (
                f" soon after it was made, {self.choice.brief} times in a row; perhaps another program uses the client "
                f"id {self.broker.client_id!r} too"
            )
        self._tell_ended(attempt.ended)
        return pause_s

    def _tell_ended(self, reason: str) -> None:
        sentence = (
            f"No connection to the broker at {self.broker}: {reason}. "
            "No reading arrives until it is back; it is tried again all the time."
        )
        self._health.say(PART, State.FAILED, sentence, self._clock())

    def _new_client(self, attempt: Attempt) -> paho.Client:
        broker, modern = self.broker, attempt.protocol == "5"
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=None if modern else False,
            protocol=paho.MQTTv5 if modern else paho.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        if broker.username is not None:
            client.username_pw_set(broker.username, broker.password)
        client.on_connect = lambda *given: self._on_connect(client, attempt, *given[2:])
        client.on_disconnect = lambda *given: _on_disconnect(attempt, given[2], given[3])
        client.on_message = lambda *given: self._on_message(client, given[2])
        client.on_socket_close = lambda *given: self._retire(client)
        # With this set, paho leaves all writing to the thread that turns it, and so to one thread.
        client.on_socket_register_write = lambda *given: self._wake()
        return client

    def _dial(self, client: paho.Client, attempt: Attempt) -> None:
        broker = self.broker
        if broker.tls:
            client.tls_set_context(ssl.create_default_context(cafile=broker.authority_file))
        if attempt.protocol == "5":
            wishes = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            wishes.SessionExpiryInterval = broker.session_expiry_s
            wishes.ReceiveMaximum = broker.receive_maximum
            wishes.MaximumPacketSize = PACKET_BYTES_MAX
            # Said each time: paho would otherwise wipe the session at the first connection of a process.
            client.connect(broker.address, broker.port, KEEPALIVE_S, clean_start=False, properties=wishes)
        else:
            client.connect(broker.address, broker.port, KEEPALIVE_S)
        attempt.reached = True
        with self._lock:
            # `hold` may have come meanwhile: then this connection is not wanted any more.
            self._generation += 1
            self._client = client if self._wanted.is_set() else None

    def _serve(self, client: paho.Client, attempt: Attempt) -> None:
        sock: Any = client.socket()
        answer_s = self._answer_s if self.choice.may_fall_back else max(self._answer_s, KEEPALIVE_S)
        answer_by = time.monotonic() + answer_s
        with selectors.DefaultSelector() as selector:
            selector.register(self._woken, selectors.EVENT_READ)
            selector.register(sock, selectors.EVENT_READ)
            while client.socket() is sock:
                if self._stop.is_set() or self._client is not client:
                    _hang_up(client, sock)
                    return
                left_s = TURN_S if attempt.answered else answer_by - time.monotonic()
                if left_s <= 0:
                    attempt.ended = "it does not answer"
                    return
                if self._turn(client, selector, sock, min(TURN_S, left_s)):
                    return

    def _turn(self, client: paho.Client, selector: selectors.BaseSelector, sock: Any, wait_s: float) -> bool:
        """Read and write once; return whether the connection has ended."""
        events = selectors.EVENT_READ
        if client.want_write():
            events |= selectors.EVENT_WRITE
        if selector.get_key(sock).events != events:
            selector.modify(sock, events)
        # TLS may hold decrypted bytes that no selector sees.
        pending = bool(sock.pending()) if isinstance(sock, ssl.SSLSocket) else False
        readable = pending
        for key, mask in selector.select(0 if pending else wait_s):
            if key.fileobj is self._woken:
                _drain(self._woken)
            elif mask & selectors.EVENT_READ:
                readable = True
        rc = self._read(client) if readable else 0
        if not rc and client.want_write():
            rc = client.loop_write()
        return bool(rc or client.loop_misc())

    def _read(self, client: paho.Client) -> int:
        """Read while messages come, a bounded number of them; asking the system before each costs as much again."""
        for _ in range(READ_MAX):
            before = self._received
            rc = client.loop_read()
            if rc or self._received == before:
                return int(rc)
        return 0

    def _on_connect(self, client: paho.Client, attempt: Attempt, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            attempt.refused = reason.value
            attempt.ended = f"it refused us ({reason})"
            return
        attempt.answered = True
        self.choice.works(attempt)
        self.connections += 1
        if self._last_at is None:
            # Before the very first connection nothing was asked for, so nothing was lost.
            self._last_at = self._clock()
        elif not flags.session_present and self._lost_from_at is None:
            self._lost_from_at = self._last_at
        numbers = {"connections": self.connections, "restarts": self.restarts, "stumbles": self.stumbles}
        self._health.count(PART, numbers)
        doubts = self._doubts(properties)
        log.info("event=connected broker=%s protocol=%s doubts=%d", self.broker, attempt.protocol, len(doubts))
        client.on_subscribe = lambda *given: self._on_subscribe(attempt, given[3], doubts)
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
        wanted: Any = options if attempt.protocol == "5" else 1
        client.subscribe([(topic, wanted) for topic in (*self.broker.topics, *self.broker.own)])

    def _doubts(self, properties: Any) -> list[str]:
        """Return what the broker grants less of than was asked for."""
        doubts = []
        granted_s = getattr(properties, "SessionExpiryInterval", self.broker.session_expiry_s)
        if granted_s < self.broker.session_expiry_s:
            doubts.append(
                f"It keeps what sensors send while this program is away for {granted_s / 3600:.1f} h only, not "
                f"{self.broker.session_expiry_s / 3600:.0f} h; let it keep sessions longer (in mosquitto: "
                "persistent_client_expiration)."
            )
        if getattr(properties, "MaximumQoS", 1) < 1:
            doubts.append("It delivers at QoS 0 only: readings on their way when a connection breaks are lost.")
        return doubts

    def _on_subscribe(self, attempt: Attempt, reasons: Any, doubts: list[str]) -> None:
        own = self.broker.own
        answers = list(zip((*self.broker.topics, *own), reasons, strict=False))
        denied = [(topic, f"{topic} ({reason})") for topic, reason in answers if reason.value >= REFUSED_FROM]
        refused = [said for topic, said in denied if topic not in own]
        doubts = doubts + [f"It does not let us hear ourselves on {said}." for topic, said in denied if topic in own]
        lowered = [topic for topic, reason in answers if reason.value == 0]
        if refused:
            log.error("event=subscription_refused topics=%r", refused)
            sentence = (
                f"The broker at {self.broker} does not let us listen to {', '.join(refused)}; mend its access list."
            )
            self._health.say(PART, State.FAILED, sentence, self._clock())
            return
        if self._lost_from_at is not None:
            now = self._clock()
            cause = "the broker knew no session of ours: what it had received for us since the last message may be lost"
            self.gaps.append(GapSuspected(min(self._lost_from_at, now), now, cause))
            self._lost_from_at = None
        if lowered:
            doubts = [*doubts, f"It delivers {', '.join(lowered)} at QoS 0 only, which loses readings."]
        sentence = f"Connected to the broker at {self.broker} (MQTT {attempt.protocol})."
        state = State.DOUBTFUL if doubts else State.WORKS
        self._health.say(PART, state, " ".join([sentence, *doubts]), self._clock())

    def _on_message(self, client: paho.Client, message: Any) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError as fault:
            topic = bytes(fault.object).decode("utf-8", "backslashreplace")
        at = self._clock()
        arrived = Message(topic, message.payload, at, bool(message.retain))
        delivery = Delivery(arrived, self._generation, message.mid, message.qos)
        # Waiting here stops the reading from the socket, and so bounds memory; a broker's window does not.
        # Once a message was let go unacknowledged, no later one of this connection may be taken.
        self._received += 1
        while self._client is client and not self._stop.is_set():
            if self.inbox.put(delivery, SLICE_S):
                self._last_at = at
                return


def _on_disconnect(attempt: Attempt, flags: Any, reason: Any) -> None:
    if flags.is_disconnect_packet_from_server:
        attempt.ended = f"it hung up ({reason})"


def _drain(sock: socket.socket) -> None:
    try:
        while sock.recv(4096):
            pass
    except BlockingIOError:
        return


def _hang_up(client: paho.Client, sock: Any) -> None:
    """Write what waits, DISCONNECT last, so that acknowledgements are not lost; within a second."""
    client.disconnect()
    deadline = time.monotonic() + HANG_UP_S
    with selectors.DefaultSelector() as selector:
        selector.register(sock, selectors.EVENT_WRITE)
        while client.socket() is sock and time.monotonic() < deadline:
            selector.select(SLICE_S)
            if client.loop_write():
                return


def _close(client: paho.Client) -> None:
    sock = client.socket()
    if sock is not None:
        sock.close()
