"""One alarm through the nights in which the clocks change, under any rota, its people and their ways coming and going.

Whoever is on call is reckoned here a second time, from the words on the wall: a time of day and a day's name. What is
claimed while an alarm stands that nobody goes for: nobody off duty is told while somebody is on call; whoever's minutes
have come is told within `SLACK_S`; and with a way that works to each of them, somebody is told again every
`REPEAT_S` + `SLACK_S`, whoever's shift begins or ends meanwhile.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from alerts.alarms import step
from alerts.channels.base import Channel, Sent
from alerts.escalation import REPEAT_S, Telling
from alerts.occasions import AT_MOST_S
from alerts.teller import Teller
from collector.events import AlarmAcknowledged, Draft, Event, RotaDescribed, SiteDescribed, UnitDescribed
from collector.findings import Condition
from collector.kitchen import Alarm
from collector.present import Present
from collector.readings import Site, Unit
from collector.rota import DAYS, RotaStep, changes_at, on_call, uncovered
from collector.storage import MemoryJournal

STEP_S = 60.0
SLACK_S = 60.0 + 2 * STEP_S
"""When every way had failed the next round waits up to a minute; the machine looks every minute."""
REACH = {"ana": ("hook", "mail"), "bo": ("mail",), "cy": ("mail", "hook"), "di": ("hook", "mail")}
NIGHTS = [
    # Zone, the evening of it, and how long 22:00 to 06:00 lasts; Rome by the tz database, as models of DST nights do.
    ("Europe/Rome", "2026-03-28", 7.0),
    ("Europe/Rome", "2026-10-24", 9.0),
    ("America/New_York", "2026-03-07", 7.0),
    ("America/New_York", "2026-10-31", 9.0),
    ("Australia/Lord_Howe", "2026-04-04", 8.5),
    ("Australia/Lord_Howe", "2026-10-03", 7.5),
    ("Asia/Kathmandu", "2026-06-01", 8.0),
]
HOURS = st.one_of(
    st.just(("", "")),
    st.tuples(
        *[st.sampled_from(["00:00", "02:00", "02:30", "03:00", "06:30", "07:00", "21:00", "22:00", "23:45"])] * 2
    ),
)
ROTA_STEPS = st.builds(
    lambda person, after_s, hours, days: RotaStep(person, after_s, hours[0], hours[1], days),
    st.sampled_from(sorted(REACH)),
    st.sampled_from([0.0, 300.0, 900.0]),
    HOURS,
    st.one_of(st.just(()), st.sets(st.sampled_from(DAYS), min_size=1).map(lambda d: tuple(sorted(d, key=DAYS.index)))),
)
ROTAS = st.lists(ROTA_STEPS, min_size=1, max_size=5).map(tuple)


def evening(zone: str, date: str) -> float:
    return datetime.fromisoformat(f"{date}T20:00").replace(tzinfo=ZoneInfo(zone)).timestamp()


def by_the_wall(one: RotaStep, zone: str, at: float) -> bool:
    """Return whether a step holds, by comparing what stands on the wall as text."""
    local = datetime.fromtimestamp(at, ZoneInfo(zone))
    time, today, before = f"{local:%H:%M}", DAYS[local.weekday()], DAYS[local.weekday() - 1]
    today_counts, before_counts = not one.days or today in one.days, not one.days or before in one.days
    if not one.from_time:
        return today_counts
    if one.from_time < one.until_time:
        return today_counts and one.from_time <= time < one.until_time
    return (today_counts and time >= one.from_time) or (before_counts and time < one.until_time)


def on_duty(rota: Sequence[RotaStep], zone: str, at: float) -> dict[str, float]:
    """Return whoever is on call with their seconds, in order; everybody at once where nobody is."""
    found: dict[str, float] = {}
    for one in sorted(rota, key=lambda one: one.after_s):
        if by_the_wall(one, zone, at):
            found.setdefault(one.person, one.after_s)
    return found or {one.person: 0.0 for one in rota}


class Way:
    """A way that works or not."""

    def __init__(self, name: str, machine: "RotaLife") -> None:
        self.name, self.machine = name, machine

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        machine = self.machine
        if self.name in machine.broken:
            machine.failed = True
            return Sent(False)
        machine.said.append((machine.true_s, telling.person, telling.alarm, telling.occasion))
        return Sent(True)


class RotaLife(RuleBasedStateMachine):
    """One warm room through a night, somewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.true_s, self.begin_at = 0.0, 0.0
        self.zone = "UTC"
        self.rota: tuple[RotaStep, ...] = (RotaStep("ana", 0.0),)
        self.warm = True
        self.broken: set[str] = set()
        self.failed = False
        """Whether a way has failed since the alarm was raised."""
        self.mended_s = self.raised_s = self.rota_s = 0.0
        self.answered_s = -1e9
        self.restarted_s = [-1.0]
        self.said: list[tuple[float, str, str, str]] = []
        self.duty_s: dict[str, float] = {}
        """Since when each of those on call has been so without a break."""
        self.journal = MemoryJournal()
        self.begin()

    @property
    def at(self) -> float:
        return self.begin_at + self.true_s

    def begin(self) -> None:
        self.present = Present(self.journal, lambda: self.at)
        ways: dict[str, Channel] = {name: Way(name, self) for name in ("hook", "mail")}
        self.teller = Teller(self.present, lambda: self.at, ways, lambda alarm, person, now: "")
        self.present.catch_up()

    def write(self, *events: Event, by: str = "system") -> None:
        self.present.decide(lambda kitchen: [Draft(self.at, by, event) for event in events])

    @initialize(night=st.sampled_from(NIGHTS), rota=ROTAS, later=st.integers(0, 600))
    def describe(self, night: tuple[str, str, float], rota: tuple[RotaStep, ...], later: int) -> None:
        self.zone, date, _ = night
        self.rota = rota
        self.begin_at = evening(self.zone, date) + later * 60.0
        self.write(
            SiteDescribed(Site("s", "S", self.zone, "US")),
            UnitDescribed(Unit("room", "s", "R", "cold room")),
            RotaDescribed(rota),
        )
        self.look()

    @rule(rota=ROTAS)
    def the_rota_changes(self, rota: tuple[RotaStep, ...]) -> None:
        self.rota = rota
        self.write(RotaDescribed(rota))

    @rule(warm=st.booleans())
    def the_room_changes(self, warm: bool) -> None:
        self.warm = warm

    @rule(ways=st.sets(st.sampled_from(["hook", "mail"])))
    def ways_break_or_mend(self, ways: set[str]) -> None:
        self.broken = ways
        self.mended_s = self.true_s

    @rule()
    def the_program_is_started_again(self) -> None:
        self.begin()
        self.restarted_s.append(self.true_s)

    @precondition(lambda self: self.present.kitchen.active_alarms())
    @rule(person=st.sampled_from(sorted(REACH)), answer=st.sampled_from(["going", "cannot"]))
    def somebody_answers(self, person: str, answer: str) -> None:
        (alarm,) = self.present.kitchen.active_alarms()
        arriving_at = self.at + 1200.0 if answer == "going" else None
        self.write(AlarmAcknowledged(alarm.id, answer, arriving_at), by=person)
        self.answered_s = self.true_s

    @rule(minutes=st.sampled_from([1, 14, 45, 130, 400]))
    def time_passes(self, minutes: int) -> None:
        for _ in range(minutes):
            self.true_s += STEP_S
            self.look()

    def look(self) -> None:
        condition = Condition(
            "room", "product_warm", "temperature", True, self.at, ("B1",), sentence="product_may_pass"
        )
        before = {a.id for a in self.present.kitchen.active_alarms()}
        found = [condition] if self.warm else []
        self.present.decide(lambda kitchen: step(kitchen, found, ["room"], self.at))
        for alarm in self.present.kitchen.active_alarms():
            if alarm.id not in before:
                self.raised_s, self.failed, self.answered_s = self.true_s, bool(self.broken), -1e9
        heads = len(self.said)
        for _ in range(8):
            self.teller.tell(REACH)
        duty = on_duty(self.rota, self.zone, self.at)
        self.duty_s = {person: self.duty_s.get(person, self.true_s) for person in duty}
        for alarm in self.present.kitchen.active_alarms():
            self.only_who_is_on_call_is_told(alarm, duty, self.said[heads:])
            self.whose_minutes_have_come_is_told(alarm, duty)
            self.nothing_is_silent(alarm)

    def only_who_is_on_call_is_told(
        self, alarm: Alarm, duty: dict[str, float], said: Sequence[tuple[float, str, str, str]]
    ) -> None:
        first = next(iter(duty))
        for _, person, name, occasion in said:
            if name != alarm.id or occasion == "returned" or person == alarm.acknowledged_by:
                continue
            assert person in duty, f"{person} is not on call"
            if occasion == "raised" and not self.failed and person != first:
                assert duty[person] <= self.true_s - self.raised_s, f"{person} was called too soon"

    def whose_minutes_have_come_is_told(self, alarm: Alarm, duty: dict[str, float]) -> None:
        if "mail" in self.broken or alarm.acknowledged_at is not None:
            return
        for person, after_s in duty.items():
            since_s = max(self.raised_s + after_s, self.duty_s[person], self.mended_s)
            told = any((p, name) == (person, alarm.id) for _, p, name, _ in self.said)
            assert told or self.true_s - since_s <= SLACK_S, f"{person} was not told for {self.true_s - since_s} s"

    def nothing_is_silent(self, alarm: Alarm) -> None:
        if "mail" in self.broken:
            return
        heard = [at for at, _, name, _ in self.said if name == alarm.id]
        latest = max([self.raised_s, self.mended_s, self.answered_s, *heard])
        longest = (AT_MOST_S if alarm.answer == "going" else REPEAT_S) + SLACK_S
        assert self.true_s - latest <= longest, f"silent for {self.true_s - latest} s"

    @invariant()
    def nobody_is_told_twice_of_one_step_but_by_the_repeat(self) -> None:
        last: dict[tuple[str, str, str], float] = {}
        for at, person, name, occasion in self.said:
            before = last.get((person, name, occasion))
            assert before is None or at - before >= REPEAT_S
            last[(person, name, occasion)] = at

    @invariant()
    def a_return_is_the_last_word(self) -> None:
        for name in {name for _, _, name, _ in self.said}:
            for person in REACH:
                mine = [o for _, p, n, o in self.said if (p, n) == (person, name)]
                assert "returned" not in mine[:-1] and mine[:1] != ["returned"]


TestRotaLife = RotaLife.TestCase
TestRotaLife.settings = settings(max_examples=60, stateful_step_count=15, deadline=None)


@pytest.mark.parametrize(("zone", "date", "hours"), NIGHTS)
def test_a_night_on_call_lasts_as_long_as_the_wall_says(zone: str, date: str, hours: float) -> None:
    night = (RotaStep("ana", 0.0, "22:00", "06:00"),)
    begin = evening(zone, date)
    assert sum(bool(on_call(night, zone, begin + 60.0 * n)) for n in range(16 * 60)) == hours * 60


@given(ROTAS, st.sampled_from(NIGHTS), st.integers(0, 3 * 1440))
def test_who_is_on_call_is_who_the_wall_says_in_the_order_of_their_minutes(
    rota: tuple[RotaStep, ...], night: tuple[str, str, float], minute: int
) -> None:
    zone, date, _ = night
    at = evening(zone, date) - 86_400.0 + 60.0 * minute
    found = {one.person: one.after_s for one in on_call(rota, zone, at)}
    wanted = {p: s for p, s in on_duty(rota, zone, at).items() if any(by_the_wall(one, zone, at) for one in rota)}
    assert list(found.items()) == list(wanted.items())


@settings(max_examples=300, deadline=None)
@given(ROTAS, st.sampled_from(NIGHTS))
def test_a_week_without_a_named_hole_leaves_no_minute_to_nobody(
    rota: tuple[RotaStep, ...], night: tuple[str, str, float]
) -> None:
    zone, date, _ = night
    begin = evening(zone, date)
    empty = [n for n in range(0, 7 * 1440, 15) if not on_call(rota, zone, begin + 60.0 * n)]
    holes = uncovered(rota)
    assert holes or not empty
    if holes and zone == "Asia/Kathmandu":
        assert empty


@settings(max_examples=300, deadline=None)
@given(ROTAS, st.sampled_from(NIGHTS), st.integers(0, 1440))
def test_nobody_else_is_on_call_before_the_next_change_and_somebody_else_is_at_it(
    rota: tuple[RotaStep, ...], night: tuple[str, str, float], minute: int
) -> None:
    zone, date, _ = night
    at = evening(zone, date) + 60.0 * minute
    change = changes_at(rota, zone, at)
    assume(change is not None)
    assert change is not None
    now = on_call(rota, zone, at)
    assert on_call(rota, zone, change) != now
    assert timedelta(seconds=change - at) > timedelta(0)
    between = [at + (change - at) * n / 97 for n in range(97)]
    assert all(on_call(rota, zone, one) == now for one in between)
