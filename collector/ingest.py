"""Takes what arrived, reads it, keeps it, and only then acknowledges it. One thread. Shell."""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from collector.events import GapSuspected
from collector.health import Health, State
from collector.inbox import Delivery, Inbox
from collector.message import Source, believed_time, kept_of
from collector.readings import Reading, reading_from
from collector.sample import Instant, Message, Refusal, Sample
from collector.storage import Arrival, Readings, StoreFailed

log = logging.getLogger(__name__)

PART = "intake"
GROUP_MAX = 250
FILL_S = 0.002
"""How long a group that has begun waits for more: one synchronised write then serves several messages."""
IDLE_S = 0.25
PROBES_S = (1.0, 5.0)
"""The shortest and the longest pause between two tries whether the store can be written again. House choice."""
GAP_AGAIN_S = 5.0
STUMBLED_S = 1.0
WORKS = "Readings are taken, kept and acknowledged."


class Incoming(Protocol):
    """What is asked of a connection to a broker."""

    inbox: Inbox
    gaps: deque[GapSuspected]

    def start(self) -> None: ...
    def stop(self) -> None: ...
    def supervise(self) -> None: ...
    def hold(self) -> None: ...
    def release(self) -> None: ...
    def acknowledge(self, deliveries: Iterable[Delivery]) -> None: ...


@dataclass
class Tally:
    """What was done since the start; written by the ingest thread alone."""

    groups: int = 0
    messages: int = 0
    readings: int = 0
    """As read from the messages; what the store held already is among them."""
    refused: int = 0
    retained: int = 0
    ignored: int = 0
    """Retained messages that their source says to pass over: acknowledged, and not kept."""
    store_failures: int = 0
    handing_failures: int = 0
    """How often whoever follows the readings failed when a group was handed on."""
    stumbles: int = 0


class Ingest:
    """The path from the inbox into the store.

    `on_committed` is called with each group once it is kept and acknowledged, numbered as in the arrival log and read
    as it came: a reading that the store held already is still among them. What it raises is counted and stops nothing.
    `sources` may be replaced while it runs. With `commit_every_s`, commits are at least so far apart, for a store that
    pays dearly for each.
    """

    def __init__(
        self,
        readings: Readings,
        link: Incoming,
        sources: Sequence[Source],
        clock: Callable[[], Instant],
        on_committed: Callable[[Sequence[Arrival]], None],
        health: Health,
        *,
        on_gap: Callable[[GapSuspected], None],
        commit_every_s: float = 0.0,
        probes_s: tuple[float, float] = PROBES_S,
    ) -> None:
        self.sources = tuple(sources)
        self.tally = Tally()
        self._readings = readings
        self._link = link
        self._clock = clock
        self._on_committed = on_committed
        self._on_gap = on_gap
        self._health = health
        self._commit_every_s = commit_every_s
        self._probes_s = probes_s
        self._probe_s = probes_s[0]
        self._in_hand: list[Arrival] = []
        self._committed = -commit_every_s
        self._gap_again = 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ingest", daemon=True)

    def start(self) -> None:
        """Connect, and take what arrives."""
        self._health.say(PART, State.WORKS, WORKS, self._clock())
        self._link.start()
        self._thread.start()

    def stop(self) -> None:
        """Finish the group in hand, then send its acknowledgements and hang up. The store stays open."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=15.0)
        self._link.stop()
        self._health.say(PART, State.STOPPED, "Nothing is taken: the program is stopping.", self._clock())

    @property
    def alive(self) -> bool:
        """Return whether the thread runs."""
        return self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.step()
            except StoreFailed as fault:
                self._wait_for_store(fault)
            except Exception as fault:  # noqa: BLE001 - the loop of the intake never ends by itself
                self._stumbled(fault)

    def step(self, wait_s: float = IDLE_S) -> int:
        """Take one group if one comes within the time; return how many messages that were. Raises StoreFailed."""
        self._link.supervise()
        self._tell_gaps()
        due_s = self._committed + self._commit_every_s - time.monotonic()
        if due_s > 0:
            self._stop.wait(due_s)
        group = self._link.inbox.take(GROUP_MAX, wait_s, FILL_S)
        if group:
            self._take(group)
        return len(group)

    def _take(self, group: Sequence[Delivery]) -> None:
        read = [self._read(delivery.message) for delivery in group]
        self._in_hand = [arrival for arrival in read if arrival is not None]
        self.tally.ignored += len(read) - len(self._in_hand)
        last = self._keep(self._in_hand) if self._in_hand else 0
        self._link.acknowledge(group)
        first = last - len(self._in_hand) + 1
        kept = [Arrival(arrival.message, arrival.outcome, first + i) for i, arrival in enumerate(self._in_hand)]
        self._in_hand = []
        self._probe_s = self._probes_s[0]
        self._committed = time.monotonic()
        if kept:
            self._count(kept)
            self._hand_on(kept)
        else:
            self._tell_numbers()

    def _read(self, message: Message) -> Arrival | None:
        try:
            found = kept_of(message, self.sources)
            if found is None:
                return None
            if isinstance(found, Refusal):
                return Arrival(message, found)
            return Arrival(message, tuple(_reading(sample, message) for sample in found))
        except Exception as fault:
            log.exception("event=message_set_aside topic=%r", message.topic)
            reason = (
                f"reading it failed inside this program ({type(fault).__name__}); please report it with the payload"
            )
            return Arrival(message, Refusal("stumbled", reason))

    def _keep(self, arrivals: list[Arrival]) -> int:
        """Keep them all and return the last position; one that the store cannot hold as read is kept raw."""
        try:
            return self._readings.append(arrivals)
        except StoreFailed:
            raise
        except Exception:
            log.exception("event=group_kept_one_by_one messages=%d", len(arrivals))
        last = 0
        for i, arrival in enumerate(arrivals):
            try:
                last = self._readings.append([arrival])
            except StoreFailed:
                raise
            except Exception as fault:
                log.exception("event=message_set_aside topic=%r", arrival.message.topic)
                reason = f"its readings could not be kept ({type(fault).__name__}); please report it with the payload"
                raw = replace(arrival, outcome=Refusal("stumbled", reason))
                last = self._readings.append([raw])
                arrivals[i] = raw
        return last

    def _hand_on(self, kept: Sequence[Arrival]) -> None:
        try:
            self._on_committed(kept)
        except Exception:
            self.tally.handing_failures += 1
            log.exception("event=handing_on_failed first=%d last=%d", kept[0].position, kept[-1].position)
            sentence = f"{WORKS} But whoever follows them stumbled; see the log."
            self._health.say(PART, State.DOUBTFUL, sentence, self._clock())
            return
        self._health.say(PART, State.WORKS, WORKS, self._clock())

    def _count(self, kept: Sequence[Arrival]) -> None:
        tally = self.tally
        tally.groups += 1
        tally.messages += len(kept)
        for arrival in kept:
            if isinstance(arrival.outcome, Refusal):
                tally.refused += 1
            else:
                tally.readings += len(arrival.outcome)
                tally.retained += arrival.message.retained
        self._tell_numbers(kept[-1].message.received_at)

    def _tell_numbers(self, last_at: Instant | None = None) -> None:
        numbers: dict[str, float] = {**vars(self.tally), "waiting": len(self._link.inbox)}
        if last_at is not None:
            numbers["last_at"] = last_at
        self._health.count(PART, numbers)

    def _tell_gaps(self) -> None:
        gaps = self._link.gaps
        while gaps and time.monotonic() >= self._gap_again:
            try:
                self._on_gap(gaps[0])
            except Exception:
                # A journal that cannot be written now must not keep readings from their own store.
                log.exception("event=gap_not_recorded from_at=%.3f", gaps[0].from_at)
                self._gap_again = time.monotonic() + GAP_AGAIN_S
                return
            gaps.popleft()

    def _wait_for_store(self, fault: StoreFailed) -> None:
        """Stay away from the broker until the store takes a message again."""
        self._link.hold()
        forgotten = self._link.inbox.clear()
        log.error("event=store_failed forgotten=%d fault=%r", forgotten, str(fault))
        while not self._stop.is_set():
            self.tally.store_failures += 1
            self._tell_store_failed(fault)
            self._tell_numbers()
            if self._stop.wait(self._probe_s):
                return
            self._probe_s = min(self._probes_s[1], self._probe_s * 2)
            try:
                # The first message in hand is the trial: what is written is then the real thing. It was not
                # acknowledged and comes again; a second copy of a reading with a device time adds nothing.
                self._keep(self._in_hand[:1])
            except StoreFailed as again:
                fault = again
                continue
            except Exception as odd:
                log.exception("event=probe_stumbled")
                fault = StoreFailed(f"{type(odd).__name__}: {odd}")
                continue
            log.info("event=store_works_again")
            self._health.say(PART, State.WORKS, WORKS, self._clock())
            self._link.release()
            return

    def _tell_store_failed(self, fault: StoreFailed) -> None:
        sentence = (
            f"Readings cannot be kept: {fault}. Nothing is acknowledged, so the broker keeps what the sensors send. "
            "Mend the store (free the disk, make it writable); it is tried every few seconds and goes on by itself."
        )
        self._health.say(PART, State.FAILED, sentence, self._clock())

    def _stumbled(self, fault: Exception) -> None:
        """Begin anew after a fault of our own: what was in hand is unacknowledged, so nothing after it may be."""
        self.tally.stumbles += 1
        log.error("the intake stumbled", exc_info=fault)
        sentence = f"The intake stumbled over a fault of its own ({type(fault).__name__}) and begins anew; see the log."
        self._health.say(PART, State.FAILED, sentence, self._clock())
        self._link.hold()
        self._link.inbox.clear()
        self._stop.wait(STUMBLED_S)
        self._link.release()


def _reading(sample: Sample, message: Message) -> Reading:
    measured_at, doubt = believed_time(sample.device_at, message.received_at)
    # The broker says again what the sensor said once: its being sent now is no sign that the sensor lives.
    received_at = min(measured_at, message.received_at) if message.retained else message.received_at
    return reading_from(sample, measured_at, received_at, clock_doubt=doubt)


def last_received_at(readings: Readings) -> Instant | None:
    """Return when the last message arrived, as far as the store knows; None where there never was one."""
    head = readings.head()
    if head:
        last = readings.arrivals(head - 1, 1)
        if last:
            return last[0].message.received_at
    return max((seen.last_at for seen in readings.channels()), default=None)
