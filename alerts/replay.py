"""Recorded readings through the same core: the journal, watch and judgement of the service, under a clock of its own.

Readings are taken in the order given; the clock follows `received_at`, never goes back, and is moved on through
silence on the tick grid that the live service keeps.
"""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from alerts.channels.log import LogChannel
from alerts.judgement import judged
from alerts.rulebook.book import Rulebook
from alerts.sentences import alarm_text
from alerts.service import Estimate, Service
from collector.events import BatchEnded, Draft, HandReadingEntered, StageBegun, TubMoved
from collector.events_making import CoreLogged, LabelReported
from collector.findings import Proposal
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Reading, Unit
from collector.sample import Instant, Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings

TICK_S = 10.0
ESTIMATE_EVERY_S = 300.0
HAPPENS = (BatchEnded, HandReadingEntered, TubMoved, StageBegun, CoreLogged, LabelReported)
GROUP = 64
"""At most this many readings that arrive within one tick are judged as one group, as the intake would commit them."""


@dataclass
class VirtualClock:
    """A clock that is set, and never goes back."""

    at: Instant

    def __call__(self) -> Instant:
        """Return the instant."""
        return self.at

    def move(self, to: Instant) -> None:
        """Move on; an earlier instant changes nothing."""
        self.at = max(self.at, to)


@dataclass
class Player:
    """Plays readings through a service whose clock is set: all ticks that the live one would have made, in order."""

    service: Service
    clock: VirtualClock
    tells: bool = False
    tick_s: float = TICK_S
    later: Sequence[Draft] = ()
    """What happens on the way (a batch ends, somebody measures), by its time: entered when the clock is there."""
    estimates: list[Estimate] = field(default_factory=list)
    count: int = 0

    def __post_init__(self) -> None:
        self._tick_at = (self.clock.at // self.tick_s + 1.0) * self.tick_s
        self._group: list[Arrival] = []
        self._later = deque(sorted(self.later, key=lambda draft: draft.at))
        self.service.start()

    def run(
        self, readings: Iterable[Reading], until_at: Instant, progress: Callable[[int], None] | None = None
    ) -> None:
        """Take the readings received before `until_at`, tick on to it, and judge every batch that is due."""
        for reading in readings:
            if reading.received_at >= until_at:
                continue
            self._reach(reading.received_at)
            message = Message(reading.channel, b"", reading.received_at)
            self._group.append(Arrival(message, (reading,)))
            self.count += 1
            if len(self._group) >= GROUP:
                self._flush()
            if progress is not None and self.count % 5000 == 0:
                progress(self.count)
        self._reach(until_at)
        self._flush()
        self.clock.move(until_at)
        self.service.tick()

    def _reach(self, at: Instant) -> None:
        while self._tick_at <= at:
            self._flush()
            self._enter(self._tick_at)
            self.clock.move(self._tick_at)
            self.service.tick()
            if self.tells:
                self.service.tell()
            if self._tick_at % ESTIMATE_EVERY_S == 0.0:
                self.estimates.extend(e for _, e in sorted(self.service.estimates(self._tick_at).items()))
            self._tick_at += self.tick_s
        self._enter(at)
        self.clock.move(at)

    def _enter(self, until_at: Instant) -> None:
        while self._later and self._later[0].at <= until_at:
            self._flush()
            draft = self._later.popleft()
            self.clock.move(draft.at)
            self.service.present.decide(lambda kitchen, draft=draft: [draft])  # type: ignore[misc]

    def _flush(self) -> None:
        if self._group:
            head = self.service.readings.append(self._group)
            first = head - len(self._group)
            self.service.take(self.service.readings.arrivals(first, len(self._group)))
            self._group = []


class Replay:
    """A kitchen on stores in memory, its recorded readings, and what came of them."""

    def __init__(
        self,
        drafts: Sequence[Draft],
        rulebook: Rulebook,
        software: str,
        limit_of: Callable[[Kitchen, Unit], float],
        clock: VirtualClock,
    ) -> None:
        self.clock = clock
        self.readings = MemoryReadings()
        self.present = Present(MemoryJournal(), clock)
        known, later = parted(drafts, clock.at)
        self.present.decide(lambda kitchen: known)

        def judge(kitchen: Kitchen, lot: str, now: Instant) -> Proposal | None:
            return judged(kitchen, lot, self.readings.series, rulebook, now, software)

        self._judge = judge
        service = Service(self.present, self.readings, judge, limit_of, clock, {"log": LogChannel()}, {})
        self.player = Player(service, clock, later=later)

    @property
    def count(self) -> int:
        """Return how many readings were taken."""
        return self.player.count

    @property
    def estimates(self) -> list[Estimate]:
        """Return every batch's estimate, every 300 s."""
        return self.player.estimates

    def run(
        self, readings: Iterable[Reading], until_at: Instant, progress: Callable[[int], None] | None = None
    ) -> None:
        """Play the readings; see `Player.run`."""
        self.player.run(readings, until_at, progress)

    def alarms(self) -> list[Alarm]:
        """Return every alarm of the replay, in order of raising."""
        kitchen = self.present.kitchen
        found = {**kitchen.past_alarms, **kitchen.alarms}
        return sorted(found.values(), key=lambda a: (a.raised_at, int(a.id[1:])))

    def dispositions(self) -> list[Proposal]:
        """Return what the rules propose for every batch at the end, by lot."""
        kitchen, now = self.present.kitchen, self.clock.at
        made = (self._judge(kitchen, lot, now) for lot, b in sorted(kitchen.batches.items()) if b.started_at < now)
        return [proposal for proposal in made if proposal is not None]


def parted(drafts: Sequence[Draft], now: Instant) -> tuple[list[Draft], list[Draft]]:
    """Return what is entered at once, and what only once it happens: before its end a batch stands and is watched."""
    waits = [isinstance(draft.event, HAPPENS) and draft.at > now for draft in drafts]
    pairs = list(zip(drafts, waits, strict=True))
    return [draft for draft, later in pairs if not later], [draft for draft, later in pairs if later]


def alarm_row(alarm: Alarm, zone: str) -> dict[str, object]:
    """Return an alarm as a line of `alarms.jsonl`: times in epoch seconds, null while it stands."""
    return {
        "unit": alarm.condition.unit,
        "kind": alarm.condition.kind,
        "category": alarm.condition.category,
        "raised_at": alarm.raised_at,
        "cleared_at": alarm.returned_at,
        "batches": list(alarm.condition.lots),
        "text": alarm_text(alarm, zone),
    }


def estimate_row(estimate: Estimate) -> dict[str, object]:
    """Return an estimate as a line of `estimates.jsonl`. [s since 1970 UTC], [°C]"""
    return {
        "unit": estimate.unit,
        "batch": estimate.lot,
        "t": estimate.at,
        "value": round(estimate.likely_c, 2),
        "lo": round(estimate.lower_c, 2),
        "hi": round(estimate.upper_c, 2),
        "lo90": round(estimate.claimed_low_c, 2),
        "hi90": round(estimate.claimed_high_c, 2),
    }
