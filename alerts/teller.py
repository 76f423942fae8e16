"""Tells people what is due, by their channels, and records every step of it. Shell; one thread calls it.

An attempt is recorded before it is made, and how it ended afterwards: whoever kills the program in between leaves an
attempt whose end is unknown, and it is made again. A channel that gives no answer is left to end by itself, and the
person's next one is tried meanwhile.
"""

import logging
import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from time import monotonic

from alerts.channels.base import Channel
from alerts.escalation import Telling, Walk, due
from alerts.sentences import message
from alerts.suspended import shelving_text
from collector.events import AlarmTold, Draft, Entry
from collector.fold import fold
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.sample import Instant
from collector.storage import StoreFailed

log = logging.getLogger(__name__)

PATIENCE_S = 1.0
"""House: after so long without an answer, the person's next channel is tried too. [s]"""
LOOK_S = 0.1
"""House: so long new tellings may wait while an attempt is under way. [s]"""
SETTLE_S = 6.0
"""House: so long a stop waits for attempts under way; the channels' own time-outs are shorter. [s]"""
UNRECORDED_MOST = 1000

Reach = Mapping[str, Sequence[str]]


@dataclass(slots=True)
class _Attempt:
    """One attempt under way in a thread of its own."""

    telling: Telling
    begun_s: float
    outcome: Draft | None = None
    ended: threading.Event = field(default_factory=threading.Event)


@dataclass
class Teller:
    """Sends what `escalation.due` says; at most `at_once` attempts are waited for at the same time.

    With `at_once` 1, every attempt is made in the caller's thread and nothing is left under way. More than one needs
    channels that several threads may use.
    """

    present: Present
    clock: Callable[[], Instant]
    channels: Mapping[str, Channel]
    link_for: Callable[[str, str, Instant], str]
    at_once: int = 1
    moving: Callable[[Kitchen, Alarm, Instant], str] = lambda kitchen, alarm, now: ""
    """Where the tubs of an alarm could be moved, as people read it."""
    _under_way: list[_Attempt] = field(default_factory=list)
    _news: threading.Event = field(default_factory=threading.Event)
    """Set whenever an attempt has ended."""
    _untried: dict[Telling, float] = field(default_factory=dict)
    """What is due and waits for room, with the monotonic instant since which it does."""
    _unrecorded: list[Draft] = field(default_factory=list)
    """What the journal has refused so far."""

    def tell(self, reach: Reach, falling: Collection[str] = ()) -> int:
        """Begin what is due, and record what has ended; return how much there was of both.

        `falling` names the alarms whose product is known not to rise.

        Raises StoreFailed once everything was begun, where that could not be recorded; it is recorded later. Nothing
        is begun twice for that: what the journal has refused is known all the same.
        """
        now = self.clock()
        count = self._gather()
        kitchen, tellings, refused = self._decided(reach, now, falling)
        for telling in tellings:
            self._begin(kitchen, telling, now)
        waiting = self._wait()
        ended = self._gather()
        refused = self._record(refused)
        if refused is not None:
            raise refused
        return count + len(tellings) + ended + waiting

    def settle(self) -> None:
        """Wait a little for what is under way, and record how it ended. Raises StoreFailed."""
        until_s = monotonic() + SETTLE_S
        for attempt in self._under_way:
            attempt.ended.wait(max(0.0, until_s - monotonic()))
        self._gather()
        refused = self._record(None)
        if refused is not None:
            raise refused

    @property
    def _apart(self) -> bool:
        return self.at_once > 1

    def _decided(
        self, reach: Reach, now: Instant, falling: Collection[str]
    ) -> tuple[Kitchen, list[Telling], StoreFailed | None]:
        tellings: list[Telling] = []
        known = self.present.kitchen

        def decide(kitchen: Kitchen) -> list[Draft]:
            nonlocal known
            known = self._known(kitchen)
            walks = self._walks()
            room = max(0, self.at_once - sum(walk is Walk.WAITED for walk in walks.values()))
            found = due(known, reach, now, walks, falling)
            tellings[:] = found[: room if self._apart else None]
            self._wait_untried(found[len(tellings) :])
            return [*self._unrecorded, *(_step(telling, now, "attempting") for telling in tellings)]

        try:
            self.present.decide(decide)
        except StoreFailed as fault:
            # Fail open: an alarm goes out although nobody can write that it did.
            self._unrecorded = decide(self.present.kitchen)[-UNRECORDED_MOST:]
            return known, tellings, fault
        self._unrecorded.clear()
        return known, tellings, None

    def untried_s(self) -> float:
        """Return how long the oldest telling has been due without being tried; 0 where none waits. [s]"""
        return monotonic() - min(dict(self._untried).values(), default=monotonic())

    def _wait_untried(self, left: Sequence[Telling]) -> None:
        now_s = monotonic()
        self._untried = {telling: self._untried.get(telling, now_s) for telling in left}

    def _known(self, kitchen: Kitchen) -> Kitchen:
        first = kitchen.position + 1
        return fold((Entry(first + n, d.at, d.at, d.by, d.event) for n, d in enumerate(self._unrecorded)), kitchen)

    def _walks(self) -> dict[Telling, Walk]:
        now_s = monotonic()
        return {
            a.telling: Walk.WAITED if now_s - a.begun_s < PATIENCE_S and not a.ended.is_set() else Walk.SILENT
            for a in self._under_way
        }

    def _begin(self, kitchen: Kitchen, telling: Telling, now: Instant) -> None:
        attempt = _Attempt(telling, monotonic())
        self._under_way.append(attempt)
        if not self._apart:
            self._make(attempt, kitchen, now)
            return
        # Not a pool: at the end of the program nobody waits for a gateway that says nothing.
        threading.Thread(target=partial(self._make, attempt, kitchen, now), name="attempt", daemon=True).start()

    def _make(self, attempt: _Attempt, kitchen: Kitchen, now: Instant) -> None:
        state, detail = self._sent(kitchen, attempt.telling, now)
        attempt.outcome = _step(attempt.telling, self.clock(), state, detail)
        attempt.ended.set()
        self._news.set()

    def _sent(self, kitchen: Kitchen, telling: Telling, now: Instant) -> tuple[str, str]:
        alarm = kitchen.alarm(telling.alarm)
        channel = self.channels.get(telling.channel)
        if alarm is None or channel is None:
            return "failed", f"no channel {telling.channel} is configured"
        site = kitchen.site_of(alarm.condition.unit)
        try:
            link = self.link_for(alarm.id, telling.person, now) if alarm.active else ""
            zone = site.zone if site else "UTC"
            first, body = message(alarm, zone, link, moving=self._moving(kitchen, alarm, now))
            body = _of_shelving(kitchen, alarm, telling, zone) + body
            sent = channel.send(telling, alarm, first, body)
        except Exception as fault:  # noqa: BLE001 - a channel that breaks is a failed telling, never a dead watch
            log.exception("channel broke channel=%s", telling.channel)
            return "failed", type(fault).__name__
        return ("accepted" if sent.accepted else "failed"), sent.detail

    def _moving(self, kitchen: Kitchen, alarm: Alarm, now: Instant) -> str:
        try:
            return self.moving(kitchen, alarm, now)
        except Exception:  # noqa: BLE001 - nobody stays untold because it could not be said where tubs may go
            log.exception("where tubs could be moved is not known alarm=%s", alarm.id)
            return ""

    def _wait(self) -> int:
        """Wait a little for attempts that may still answer in time; return how many of them there are."""
        waited = sum(walk is Walk.WAITED for walk in self._walks().values())
        if waited:
            self._news.wait(LOOK_S)
        return waited

    def _gather(self) -> int:
        self._news.clear()
        ended = [a for a in self._under_way if a.ended.is_set()]
        self._under_way = [a for a in self._under_way if a not in ended]
        self._unrecorded += [a.outcome for a in ended if a.outcome is not None]
        return len(ended)

    def _record(self, refused: StoreFailed | None) -> StoreFailed | None:
        drafts = tuple(self._unrecorded)
        if not drafts:
            return refused
        try:
            self.present.decide(lambda kitchen: drafts)
        except StoreFailed as fault:
            del self._unrecorded[:-UNRECORDED_MOST]
            return refused or fault
        self._unrecorded.clear()
        return None


def _of_shelving(kitchen: Kitchen, alarm: Alarm, telling: Telling, zone: str) -> str:
    by = alarm.shelvings[-1].by if alarm.shelvings else ""
    name = kitchen.people[by].name if by in kitchen.people else by
    said = shelving_text(alarm, telling.occasion, name, zone)
    return said and f"{said}\n"


def _step(telling: Telling, at: Instant, state: str, detail: str = "") -> Draft:
    return Draft(
        at, "watch", AlarmTold(telling.alarm, telling.occasion, telling.person, telling.channel, state, detail)
    )
