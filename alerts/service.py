"""Takes a group of arrivals or a tick, judges, records, tells. One thread calls it, live or replayed.

The clock is the domain clock that is passed in; the same arrivals and ticks give the same journal.
"""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from alerts.alarms import Key, step
from alerts.channels.base import Channel
from alerts.fresh import cannot_end
from alerts.grouping import Partial, grouped, members_of
from alerts.heard import Taken, with_life_of
from alerts.interval import claimed
from alerts.moving import advice
from alerts.rebuild import next_change_at, rebuilt, signature_of
from alerts.surroundings import TEMPERATURES
from alerts.suspended import PUT_BACK_S, put_back
from alerts.teller import Teller
from alerts.unit_watch import UnitWatch, projected, return_figures, take, warmest_c
from alerts.unwatched import HELD, set_aside
from alerts.watch import conditions, quiet_until
from collector.batches import Batch
from collector.events import Draft, ItemSetAside, ProposalMade
from collector.findings import Condition, Proposal
from collector.ingest import last_received_at
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Assignment, Reading, Unit
from collector.sample import Instant, Refusal
from collector.storage import Arrival, Readings

log = logging.getLogger(__name__)

CURSOR = "watch"
SETTLED_S, UNSETTLED_S = 3600.0, 900.0
"""House: how often a batch is judged anew while nothing happens, and while its product is too warm, cold or unknown."""
MEND_S = 60.0
"""House: how often a unit that was set aside is tried anew."""
FRESH_S = 900.0
"""House (rules e-6): older air says nothing of where the product goes now. [s]"""
JUDGED_A_TICK = 8
"""So that a tick stays short, the rest waits for the next one."""
PAGE = 500
PAUSE_S = 600.0
"""House: when this long has passed since the last tick, the watch was asleep or its clock was put. [s]"""
CURSOR_EVERY_S = 3600.0
"""A quiet watch moves its cursor this often, so that the arrival log can be trimmed behind it."""

Judge = Callable[[Kitchen, str, Instant], Proposal | None]
"""(kitchen, lot, now) to what the rules propose; None for a batch of a site nobody described."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """The product estimate of one batch at its warmest tub, as the watch carries it."""

    unit: str
    lot: str
    at: Instant
    likely_c: float
    lower_c: float
    upper_c: float
    air_c: float | None
    claimed_low_c: float
    claimed_high_c: float
    """The interval that holds the product with 90 %, as far as is known; no bound that anything is judged by."""


@dataclass
class Service:
    """The watch of one kitchen."""

    present: Present
    readings: Readings
    judge: Judge
    limit_of: Callable[[Kitchen, Unit], float]
    clock: Callable[[], Instant]
    channels: Mapping[str, Channel]
    reach: Mapping[str, Sequence[str]]
    """Each person's channels, in the order in which that person wants to be reached."""
    link_for: Callable[[str, str, Instant], str] = lambda alarm, person, now: ""
    troubles: Callable[[Kitchen, Instant], Sequence[Condition]] = lambda kitchen, now: ()
    """What is wrong with the watcher itself."""
    due_of: Callable[[Kitchen, str], Mapping[str, Instant]] = lambda kitchen, unit: {}
    """When the check of each thermometer of a unit is due."""
    people_at_once: int = 1
    """How many attempts are waited for at the same time; more than one needs channels that several threads may use."""
    began_at: Instant | None = None
    watches: dict[str, UnitWatch] = field(default_factory=dict)
    taken: int = 0
    """Position in the arrival log up to which readings have been watched."""
    _seen: Kitchen = field(default_factory=Kitchen)
    _synced: Kitchen = field(default_factory=Kitchen)
    """The kitchen that units and judgements were last brought in line with; `_seen` may be ahead of it."""
    _signatures: dict[str, tuple[object, ...]] = field(default_factory=dict)
    _next_change_at: Instant = 0.0
    _judge_at: dict[str, Instant] = field(default_factory=dict)
    _broken: dict[str, Instant] = field(default_factory=dict)
    _mend_at: dict[str, Instant] = field(default_factory=dict)
    _quiet_until: dict[str, Instant] = field(default_factory=dict)
    """Units in which nothing was found, and until when that needs no second look."""
    _partial: Partial = field(default_factory=dict)
    """What the last look at every unit found of groups that are coming back."""
    _cursor_at: Instant = 0.0
    _slept_s: float = float("inf")
    _latest_at: Instant = 0.0
    """What our clock said last, so that its being put back is seen."""

    def __post_init__(self) -> None:
        """Make the teller, which shares the clock, the journal and the channels."""
        self._teller = Teller(self.present, self.clock, self.channels, self.link_for, self.people_at_once, self.moving)

    def start(self) -> None:
        """Rebuild every unit from the store; what arrived meanwhile is history, and the next judgement sees it."""
        self.began_at = self.clock() if self.began_at is None else self.began_at
        last_at = last_received_at(self.readings)
        self._slept_s = float("inf") if last_at is None else max(self.began_at - last_at, 0.0)
        self._latest_at = max(last_at if last_at is not None else self.began_at, self.began_at)
        self.taken = self.readings.head()
        self._sync(self.clock())
        self._conclude(list(self.watches), self.clock(), cursors={CURSOR: self.taken})

    def follow(self) -> int:
        """Take what the arrival log holds behind the cursor; return how many messages that were."""
        count = 0
        while arrivals := self.readings.arrivals(self.taken, PAGE):
            self.take(arrivals)
            count += len(arrivals)
        return count

    def take(self, arrivals: Sequence[Arrival]) -> None:
        """Judge one committed group at once for the units it touches."""
        now = self.clock()
        self._sync(now)
        touched: dict[str, None] = {}
        for arrival in arrivals:
            if isinstance(arrival.outcome, Refusal):
                continue
            for reading in arrival.outcome:
                for name, assignment in self._watching(reading.channel, reading.measured_at):
                    self._take(name, assignment, reading, now)
                    touched[name] = None
        if arrivals:
            self.taken = max(self.taken, arrivals[-1].position)
        self._mend_late(touched, now)
        self._conclude(list(touched), now)

    def tick(self) -> None:
        """Do what only time can do: silence, dwell, judgement, telling."""
        now = self.clock()
        self._mind_clock(now)
        self._sync(now)
        self._mend_broken(now)
        self._conclude(list(self.watches), now)
        self._judge_due(now)
        if now - self._cursor_at >= CURSOR_EVERY_S:
            self._cursor_at = now
            self.present.decide(lambda kitchen: [], cursors={CURSOR: self.taken})
        self._latest_at = self.clock()

    def _mind_clock(self, now: Instant) -> None:
        """Begin the watch anew where its clock was put, or has stood still: what it slept through is no silence."""
        before_at = self._latest_at
        if now < before_at - PUT_BACK_S:
            self.present.decide(lambda kitchen: put_back(kitchen, before_at, now))
        elif now <= before_at + PAUSE_S:
            self._latest_at = now
            return
        last_at = last_received_at(self.readings)
        self.began_at, self._slept_s = now, max(now - last_at, 0.0) if last_at is not None else float("inf")
        for watch in self.watches.values():
            watch.channels = with_life_of(watch.channels, {})
        self._signatures.clear()
        self._quiet_until.clear()
        # Only now: where a store refused half-way, the next tick sees it again.
        self._next_change_at = self._latest_at = now

    def _take(self, name: str, assignment: Assignment, reading: Reading, now: Instant) -> None:
        watch = self.watches[name]
        value = reading.value + (assignment.offset_c if assignment.quantity in TEMPERATURES else 0.0)
        try:
            measured_at, received_at = reading.measured_at, reading.received_at
            take(watch, assignment, Taken(reading.channel, measured_at, received_at, value, reading.quality))
        except Exception as fault:  # noqa: BLE001 - one odd reading never holds up those behind it
            self._set_aside(watch.unit, now, fault)
        self._quiet_until.pop(name, None)

    def _watching(self, channel: str, at: Instant) -> list[tuple[str, Assignment]]:
        """Return the units that a channel tells of, with what it measures there: a probe goes where its tub goes."""
        heard = [(name, watch.channels.get(channel)) for name, watch in self.watches.items()]
        found = [(name, h.assignment) for name, h in heard if h is not None and h.assignment.holds_at(at)]
        if found:
            return found
        assignment = self._seen.assigned(channel, at)
        return [(assignment.unit, assignment)] if assignment and assignment.unit in self.watches else []

    def _sync(self, now: Instant) -> None:
        kitchen = self.present.catch_up()
        before, self._seen = self._synced, kitchen
        same = all(getattr(before, n) is getattr(kitchen, n) for n in ("batches", "units", "assignments"))
        if same and now < self._next_change_at:
            return
        began = self.began_at if self.began_at is not None else now
        for unit in kitchen.units.values():
            signature = signature_of(kitchen, unit, now)
            if self._signatures.get(unit.id) != signature:
                self._rebuild(kitchen, unit, now, began)
                self._signatures[unit.id] = signature
            if kitchen.calibrations is not before.calibrations or kitchen.assignments is not before.assignments:
                self._note_due(kitchen, unit.id)
        for lot, batch in kitchen.batches.items():
            if before.batches.get(lot) is not batch:
                self._judge_at[lot] = now
        # Only now: where a store refused half-way, the next call does the rest.
        self._synced, self._next_change_at = kitchen, next_change_at(kitchen, now)

    def _rebuild(self, kitchen: Kitchen, unit: Unit, now: Instant, began: Instant) -> None:
        limit_c = self.limit_of(kitchen, unit)
        self._quiet_until.pop(unit.id, None)
        try:
            made = rebuilt(
                unit, limit_c, kitchen, self.readings.series, self.readings.before, now, began, self._slept_s
            )
            before = self.watches.get(unit.id)
            made.channels = with_life_of(made.channels, before.channels if before is not None else {})
            self.watches[unit.id] = made
            self._note_due(kitchen, unit.id)
            self._broken.pop(unit.id, None)
        except Exception as fault:  # noqa: BLE001 - one odd unit is set aside and told; the others go on
            self.watches.setdefault(unit.id, UnitWatch(unit, limit_c, began))
            self._set_aside(unit, now, fault)

    def _note_due(self, kitchen: Kitchen, unit: str) -> None:
        self.watches[unit].due = dict(self.due_of(kitchen, unit))
        self._quiet_until.pop(unit, None)

    def _set_aside(self, unit: Unit, now: Instant, fault: Exception) -> None:
        log.error("unit set aside unit=%s", unit.id, exc_info=fault)
        if unit.id not in self._broken:
            self._broken[unit.id] = now
            self._mend_at[unit.id] = now + MEND_S
            aside = ItemSetAside(f"unit {unit.id}", "its readings could not be worked on; see the log of the service")
            if aside.item not in self._seen.set_aside:
                self.present.decide(lambda kitchen: [Draft(now, "watch", aside)])
                self._seen = self.present.kitchen

    def _mend_broken(self, now: Instant) -> None:
        """Try units that were set aside anew: a store that was busy for a moment is no reason to stay blind."""
        for name in [name for name in self._broken if now >= self._mend_at[name]]:
            self._mend_at[name] = now + MEND_S
            self._rebuild(self._seen, self._seen.units[name], now, self.began_at if self.began_at is not None else now)

    def _mend_late(self, touched: Iterable[str], now: Instant) -> None:
        for name in touched:
            watch = self.watches[name]
            if watch.late:
                self._rebuild(self._seen, watch.unit, now, self.began_at if self.began_at is not None else now)
                for lot in {t.lot for t in watch.tubs}:
                    self._judge_at[lot] = now

    def _conclude(self, units: list[str], now: Instant, cursors: Mapping[str, int] | None = None) -> None:
        """Turn what holds in the units into alarm events, written with the cursor in one transaction."""
        standing: dict[str, set[str]] = {}
        for alarm in self._seen.active_alarms():
            standing.setdefault(alarm.condition.unit, set()).add(alarm.condition.kind)
        found: list[Condition] = []
        returns: dict[Key, dict[str, float | int | str | None]] = {}
        behind = members_of(self._seen)
        for name in units:
            # What a parent holds back is not new once it is over: no patience a second time.
            kinds = standing.get(name, set()) | ({HELD} if name in behind else set())
            found.extend(self._conditions(name, now, kinds))
            for kind in standing.get(name, ()):
                returns[(name, kind)] = return_figures(self.watches[name])
        whole = len(units) >= len(self.watches)
        found.extend(self.troubles(self._seen, now) if whole else ())
        without = {*self._broken, *self._seen.out_of_service}
        able = [watch for name, watch in self.watches.items() if name not in without]
        one = grouped(found, units, able, self._seen, now, whole=whole, partial=self._partial)
        self._partial = one.partial if whole else self._partial
        returns.update(one.returns)

        def decide(kitchen: Kitchen) -> list[Draft]:
            stays = cannot_end(kitchen, self.watches, self._broken, now)
            return step(kitchen, one.conditions, one.judged, now, returns, stays)

        if cursors is None and not decide(self._seen):
            return
        entries = self.present.decide(decide, cursors=cursors or {CURSOR: self.taken})
        self._seen = self.present.kitchen
        for entry in entries:
            for lot in getattr(getattr(entry.event, "condition", None), "lots", ()):
                self._judge_at[lot] = now

    def _conditions(self, name: str, now: Instant, standing: set[str]) -> list[Condition]:
        watch = self.watches[name]
        if name in self._broken:
            return [set_aside(watch, self._seen, self._broken[name], now)]
        if not standing and now <= self._quiet_until.get(name, 0.0):
            return []
        try:
            found = conditions(watch, now, standing)
            if not found and not standing:
                self._quiet_until[name] = quiet_until(watch)
            return found
        except Exception as fault:  # noqa: BLE001 - as above: told as unwatched, the rest goes on
            self._set_aside(watch.unit, now, fault)
            return self._conditions(name, now, standing)

    def _judge_due(self, now: Instant) -> None:
        ready = sorted(lot for lot, at in self._judge_at.items() if at <= now)[:JUDGED_A_TICK]
        for lot in ready:
            batch = self._seen.batches[lot]
            if batch.started_at > now:
                self._judge_at[lot] = batch.started_at
                continue
            self._judge_one(batch, now)

    def _judge_one(self, batch: Batch, now: Instant) -> None:
        lot = batch.lot
        try:
            proposal = self.judge(self._seen, lot, now)
        except Exception:  # noqa: BLE001 - one odd batch is set aside; it keeps its last proposal and is listed
            log.exception("batch set aside lot=%s", lot)
            self._judge_at[lot] = now + UNSETTLED_S
            aside = ItemSetAside(f"batch {lot}", "it could not be judged; see the log of the service")
            if f"batch {lot}" not in self._seen.set_aside:
                self.present.decide(lambda kitchen: [Draft(now, "rules", aside)])
            return
        if batch.ended_at is not None:
            self._judge_at.pop(lot)
        else:
            self._judge_at[lot] = now + (UNSETTLED_S if self._unsettled(lot) else SETTLED_S)
        if proposal is None:
            return
        made = proposal

        def record(kitchen: Kitchen) -> list[Draft]:
            last = kitchen.proposal_of(lot)
            if last is not None and last.proposal.outcome() == made.outcome():
                return []
            return [Draft(now, "rules", ProposalMade(made))]

        self.present.decide(record)
        self._seen = self.present.kitchen

    def _unsettled(self, lot: str) -> bool:
        for watch in self.watches.values():
            for tub in watch.tubs:
                c = tub.copies
                if tub.lot == lot and (c.upper_c > watch.limit_c or c.lower_c < 2.2 or c.upper_c - c.lower_c > 1.0):
                    return True
        return False

    def estimates(self, now: Instant | None = None) -> dict[str, Estimate]:
        """Return the estimate of each standing batch, at its warmest tub."""
        now = self.clock() if now is None else now
        found: dict[str, Estimate] = {}
        for watch in self.watches.values():
            air = watch.air_c if watch.at is not None else None
            for tub in watch.tubs:
                c = projected(watch, tub, now)
                lead = warmest_c(watch, tub) - tub.copies.likely_c
                figures = (round(c.likely_c + lead, 3), round(c.lower_c, 3), round(c.upper_c + lead, 3))
                sensor = max((h.assignment.uncertainty_c for h in watch.telling_of(tub)), default=0.5)
                low, high = (round(e + lead, 3) for e in claimed(c, tub.lagged_c, tub.start_sd_c, sensor))
                estimate = Estimate(watch.unit.id, tub.lot, now, *figures, air, low, high)
                if tub.lot not in found or found[tub.lot].likely_c < estimate.likely_c:
                    found[tub.lot] = estimate
        return found

    def tell(self) -> int:
        """Send what is due to people, and record each step; see `Teller.tell`."""
        return self._teller.tell(self.reach, self._falling())

    def untried_s(self) -> float:
        """Return how long the oldest telling has been due without being tried. [s]"""
        return self._teller.untried_s()

    def _falling(self) -> set[str]:
        """Return the alarms of warm meat that is known to cool: fresh air colder than the coldest it may be."""
        now = self.clock()
        cools = {name for name, watch in list(self.watches.items()) if _cools(watch, now)} - set(self._broken)
        standing = self.present.kitchen.active_alarms()
        return {a.id for a in standing if a.condition.kind == "product_warm" and a.condition.unit in cools}

    def moving(self, kitchen: Kitchen, alarm: Alarm, now: Instant) -> str:
        """Return where the tubs of an alarm could be moved, as people read it; empty where none need go."""
        return advice(kitchen, alarm, self.watches, now, self._broken)

    def settle(self) -> None:
        """Wait a little for attempts under way, and record how they ended. Raises StoreFailed."""
        self._teller.settle()


def _cools(watch: UnitWatch, now: Instant) -> bool:
    fresh = watch.at is not None and 0.0 <= now - watch.at <= FRESH_S
    return fresh and bool(watch.tubs) and all(watch.air_c < tub.copies.lower_c for tub in list(watch.tubs))
