"""Tells people what is due, by their channels, and records every step of it. Shell; one thread calls it.

An attempt is recorded before it is made, and how it ended afterwards: whoever kills the program in between leaves an
attempt whose end is unknown, and it is made again. A channel that gives no answer is left to end by itself, and the
person's next one is tried meanwhile. What can wait goes to a person as one list (`alerts.letters`).
"""

import logging
import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from time import monotonic

from alerts.channels.base import Channel
from alerts.escalation import Telling, Walk, due
from alerts.letters import Letter, from_the_night, heading, letters, list_line, list_message, short_name
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

    letter: Letter
    begun_s: float
    outcomes: tuple[Draft, ...] = ()
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
        count = self._gather()
        # Read after the gathering: how an attempt ended lies before it.
        now = self.clock()
        kitchen, out, refused = self._decided(reach, now, falling)
        for letter in out:
            self._begin(kitchen, letter, now)
        waiting = self._wait()
        ended = self._gather()
        refused = self._record(refused)
        if refused is not None:
            raise refused
        return count + len(out) + ended + waiting

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
    ) -> tuple[Kitchen, list[Letter], StoreFailed | None]:
        out: list[Letter] = []
        known = self.present.kitchen

        def decide(kitchen: Kitchen) -> list[Draft]:
            nonlocal known
            known = self._known(kitchen)
            walks = self._walks()
            room = max(0, self.at_once - self._waited())
            found = letters(known, due(known, reach, now, walks, falling))
            out[:] = found[: room if self._apart else None]
            self._wait_untried([telling for letter in found[len(out) :] for telling in letter])
            begun = (_step(telling, now, "attempting") for letter in out for telling in letter)
            return [*self._unrecorded, *begun]

        try:
            self.present.decide(decide)
        except StoreFailed as fault:
            # Fail open: an alarm goes out although nobody can write that it did.
            self._unrecorded = decide(self.present.kitchen)[-UNRECORDED_MOST:]
            return known, out, fault
        self._unrecorded.clear()
        return known, out, None

    def untried_s(self) -> float:
        """Return how long the oldest telling has been due without being tried; 0 where none waits. [s]"""
        now_s = monotonic()
        return now_s - min(self._untried.values(), default=now_s)

    def _wait_untried(self, left: Sequence[Telling]) -> None:
        now_s = monotonic()
        self._untried = {telling: self._untried.get(telling, now_s) for telling in left}

    def _known(self, kitchen: Kitchen) -> Kitchen:
        first = kitchen.position + 1
        return fold((Entry(first + n, d.at, d.at, d.by, d.event) for n, d in enumerate(self._unrecorded)), kitchen)

    def _walks(self) -> dict[Telling, Walk]:
        # What has ended since the last gathering may have been accepted: nothing is begun in its place before that.
        now_s = monotonic()
        return {
            telling: Walk.WAITED if a.ended.is_set() or now_s - a.begun_s < PATIENCE_S else Walk.SILENT
            for a in self._under_way
            for telling in a.letter
        }

    def _waited(self) -> int:
        """Return how many attempts may still answer in time."""
        now_s = monotonic()
        return sum(now_s - a.begun_s < PATIENCE_S and not a.ended.is_set() for a in self._under_way)

    def _begin(self, kitchen: Kitchen, letter: Letter, now: Instant) -> None:
        attempt = _Attempt(letter, monotonic())
        self._under_way.append(attempt)
        if not self._apart:
            self._make(attempt, kitchen, now)
            return
        # Not a pool: at the end of the program nobody waits for a gateway that says nothing.
        threading.Thread(target=partial(self._make, attempt, kitchen, now), name="attempt", daemon=True).start()

    def _make(self, attempt: _Attempt, kitchen: Kitchen, now: Instant) -> None:
        state, detail = self._sent(kitchen, attempt.letter, now)
        attempt.outcomes = tuple(_step(telling, self.clock(), state, detail) for telling in attempt.letter)
        attempt.ended.set()
        self._news.set()

    def _sent(self, kitchen: Kitchen, letter: Letter, now: Instant) -> tuple[str, str]:
        telling = letter[0]
        alarm = kitchen.alarm(telling.alarm)
        channel = self.channels.get(telling.channel)
        if alarm is None or channel is None:
            return "failed", f"no channel {telling.channel} is configured"
        try:
            first, body = (
                self._worded(kitchen, telling, alarm, now) if len(letter) == 1 else self._list(kitchen, letter, now)
            )
            sent = channel.send(heading(letter), alarm, first, body)
        except Exception as fault:  # noqa: BLE001 - a channel that breaks is a failed telling, never a dead watch
            log.exception("channel broke channel=%s", telling.channel)
            return "failed", type(fault).__name__
        return ("accepted" if sent.accepted else "failed"), sent.detail

    def _worded(self, kitchen: Kitchen, telling: Telling, alarm: Alarm, now: Instant) -> tuple[str, str]:
        zone = _zone(kitchen, alarm)
        link = self.link_for(alarm.id, telling.person, now) if alarm.active else ""
        first, body = message(alarm, zone, link, moving=self._moving(kitchen, alarm, now))
        return first, _of_shelving(kitchen, alarm, telling, zone) + body

    def _list(self, kitchen: Kitchen, letter: Letter, now: Instant) -> tuple[str, str]:
        known = [(alarm, telling) for telling in letter if (alarm := kitchen.alarm(telling.alarm)) is not None]
        lines = [self._line(kitchen, telling, alarm, now) for alarm, telling in known]
        morning = any(from_the_night(kitchen, alarm) for alarm, _ in known)
        return list_message([short_name(kitchen, alarm) for alarm, _ in known], lines, morning=morning)

    def _line(self, kitchen: Kitchen, telling: Telling, alarm: Alarm, now: Instant) -> str:
        try:
            zone = _zone(kitchen, alarm)
            said = list_line(alarm, zone, self.link_for(alarm.id, telling.person, now))
            return _of_shelving(kitchen, alarm, telling, zone) + said
        except Exception:  # noqa: BLE001 - one that cannot be put into words does not silence the rest of the list
            log.exception("an alarm cannot be put into words alarm=%s", alarm.id)
            return f"{short_name(kitchen, alarm)}: see alarm {alarm.id}."

    def _moving(self, kitchen: Kitchen, alarm: Alarm, now: Instant) -> str:
        try:
            return self.moving(kitchen, alarm, now)
        except Exception:  # noqa: BLE001 - nobody stays untold because it could not be said where tubs may go
            log.exception("where tubs could be moved is not known alarm=%s", alarm.id)
            return ""

    def _wait(self) -> int:
        """Wait a little for attempts that may still answer in time; return how many of them there are."""
        waited = self._waited()
        if waited:
            self._news.wait(LOOK_S)
        return waited

    def _gather(self) -> int:
        self._news.clear()
        ended = [a for a in self._under_way if a.ended.is_set()]
        self._under_way = [a for a in self._under_way if a not in ended]
        self._unrecorded += [outcome for a in ended for outcome in a.outcomes]
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


def _zone(kitchen: Kitchen, alarm: Alarm) -> str:
    site = kitchen.site_of(alarm.condition.unit)
    return site.zone if site is not None else "UTC"


def _of_shelving(kitchen: Kitchen, alarm: Alarm, telling: Telling, zone: str) -> str:
    by = alarm.shelvings[-1].by if alarm.shelvings else ""
    name = kitchen.people[by].name if by in kitchen.people else by
    said = shelving_text(alarm, telling.occasion, name, zone)
    return said and f"{said}\n"


def _step(telling: Telling, at: Instant, state: str, detail: str = "") -> Draft:
    return Draft(
        at, "watch", AlarmTold(telling.alarm, telling.occasion, telling.person, telling.channel, state, detail)
    )
