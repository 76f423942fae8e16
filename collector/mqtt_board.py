"""What this program itself says on the broker: retained messages, said again after every connection. Shell.

Its connection is another one than that of the readings: what is said here can never hold up what is heard there.
"""

import logging
import ssl
import threading
from collections.abc import Mapping
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import PAUSES_S, Broker
from collector.canary import GONE, RUNS

log = logging.getLogger(__name__)

KEEPALIVE_S = 15
"""House: a broker notices within half as much again that this program is gone. [s]"""
GOODBYE_S = 2.0
SENT_MOST = 100


class Board:
    """Keeps one retained message on each of its topics, and on `status_topic` whether this program runs.

    When the connection ends without a goodbye, the broker itself says GONE there (the will of MQTT).
    """

    def __init__(self, broker: Broker, status_topic: str, *, pauses_s: tuple[float, float] = PAUSES_S) -> None:
        self.connected = False
        self.refused: dict[str, str] = {}
        """Topics on which the broker has last refused a message, and its reason; only MQTT 5 has one."""
        self.ended = ""
        """Why the broker did not let us in, where it gave a reason; empty while it does."""
        self._broker = broker
        self._status_topic = status_topic
        self._status = RUNS
        self._lock = threading.Lock()
        self._said: dict[str, str] = {}
        self._sent: dict[int, str] = {}
        self._running = False
        modern = broker.protocol == "5"
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{broker.client_id}-board",
            clean_session=None if modern else True,
            protocol=paho.MQTTv5 if modern else paho.MQTTv311,
        )
        if broker.username is not None:
            client.username_pw_set(broker.username, broker.password)
        client.will_set(status_topic, GONE, qos=1, retain=True)
        client.reconnect_delay_set(*(max(1, round(pause_s)) for pause_s in pauses_s))
        client.on_connect = lambda *given: self._on_connect(given[3])
        client.on_publish = lambda *given: self._on_publish(given[2], given[3])
        client.on_disconnect = lambda *given: self._on_disconnect()
        self._client = client

    def start(self) -> None:
        """Begin to connect; a broker that is away is tried again until it is back. Raises OSError, ssl.SSLError.

        A second call does nothing.
        """
        if self._running:
            return
        self._running = True
        if self._broker.tls:
            self._client.tls_set_context(ssl.create_default_context(cafile=self._broker.authority_file))
        self._client.connect_async(self._broker.address, self._broker.port, KEEPALIVE_S)
        self._client.loop_start()

    def say(self, words: Mapping[str, str]) -> None:
        """Keep these words on these topics; what stands there already is not sent again."""
        with self._lock:
            fresh = {topic: word for topic, word in words.items() if self._said.get(topic) != word}
            self._said.update(fresh)
            if self.connected:
                self._publish(fresh)

    def watches(self, really: bool) -> None:
        """Say on the status topic whether this program watches: one that hangs is as good as gone."""
        with self._lock:
            before, self._status = self._status, RUNS if really else GONE
            if self.connected and before != self._status:
                self._publish({self._status_topic: self._status})

    def send(self, topic: str, payload: bytes) -> bool:
        """Send one message that the broker need not keep; return whether it is on its way."""
        with self._lock:
            if not self.connected:
                return False
            if len(self._sent) >= SENT_MOST:
                self._sent.clear()
            self._sent[self._client.publish(topic, payload, qos=1).mid] = topic
        return True

    def stop(self, words: Mapping[str, str] | None = None) -> None:
        """Leave these words behind, and that this program is gone; then hang up. A second call does nothing."""
        if not self._running:
            return
        self._running = False
        self.say({**(words or {}), self._status_topic: GONE})
        if self.connected:
            last = self._client.publish(self._status_topic, GONE, qos=1, retain=True)
            try:
                last.wait_for_publish(GOODBYE_S)
            except (RuntimeError, ValueError) as fault:
                log.debug("the goodbye was not taken: %s", fault)
        self._client.disconnect()
        self._client.loop_stop()
        # It keeps a pair of sockets until it is thrown away, and who throws away what first is anybody's guess.
        self._client.reinitialise()

    def _publish(self, words: Mapping[str, str]) -> None:
        for topic, word in words.items():
            # mosquitto 2.0.11 hangs up on whom it has refused a message: said again at once, that would go on for ever.
            if topic not in self.refused:
                self._sent[self._client.publish(topic, word, qos=1, retain=True).mid] = topic

    # From here on: paho's thread, which an exception would end.

    def _on_connect(self, reason: Any) -> None:
        if reason.is_failure:
            self.ended = str(reason)
            log.warning("event=board_refused broker=%s reason=%r", self._broker, self.ended)
            return
        with self._lock:
            self.connected, self.ended = True, ""
            self._sent.clear()
            # The broker may have lost what it kept, and says GONE itself where the last connection broke.
            self._publish({**self._said, self._status_topic: self._status})
        log.info("event=board_connected broker=%s topics=%d", self._broker, len(self._said))

    def _on_publish(self, number: int, reason: Any) -> None:
        # No lock: paho holds one of its own here, which `send` waits for while it holds ours.
        topic = self._sent.pop(number, None)
        if topic is None:
            return
        if reason.is_failure:
            self.refused[topic] = str(reason)
            return
        self.refused.pop(topic, None)
        if self._status_topic in self.refused:
            # The access list may have been mended.
            del self.refused[self._status_topic]
            self._publish({self._status_topic: self._status})

    def _on_disconnect(self) -> None:
        self.connected = False
