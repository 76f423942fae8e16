"""The second watcher's core under any sequence of answers, failing ways and clocks: it tells in time, and in turn."""

from collections.abc import Mapping

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from alerts.alarms import step
from alerts.escalation import REPEAT_S, due
from alerts.minding import LOOK_S, Answer, Heard, Minded, Timings, condition, look, returned, take
from collector.events import AlarmTold, Draft
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal

NAME = "Harbour kitchen"
REACH: Mapping[str, tuple[str, ...]] = {"ana": ("webhook", "email"), "bo": ("apprise",)}
WAYS = ("webhook", "email", "apprise")
TIMINGS = Timings()
START_AT = 1_795_500_000.0
RETRY_MOST_S = 60.0


class Minding(RuleBasedStateMachine):
    """An installation that answers or does not, ways that work or do not, a wall clock that goes where it likes."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 1000.0
        self.wall_off_s = 0.0
        self.minded = Minded(NAME, "Europe/London", self.now_s)
        self.answers = Heard.WELL
        self.due_s = self.now_s
        self.broken: set[str] = set()
        self.worked_since_s = self.now_s
        self.asked_since_s = self.now_s
        self.silent_since_s = self.now_s
        self.told_due_s: float | None = None
        self.said: list[tuple[float, str, str]] = []
        self.journal = MemoryJournal()
        self.kitchen = Kitchen(
            sites={NAME: Site(NAME, NAME, "Europe/London", "US")},
            units={NAME: Unit(NAME, NAME, NAME, "installation")},
            rota=tuple(RotaStep(person, 0.0) for person in REACH),
        )

    @property
    def clock(self) -> float:
        """Return the domain clock of the minder, which runs with the monotonic one."""
        return START_AT + self.now_s

    def write(self, drafts: list[Draft]) -> None:
        self.kitchen = fold(
            self.journal.append(drafts, seen=self.kitchen.position, recorded_at=self.clock), self.kitchen
        )

    def second(self) -> None:
        """Let one second pass: a question where one is due, a look, and what is due to be told."""
        self.now_s += 1.0
        if self.now_s >= self.due_s:
            self.due_s = self.now_s + TIMINGS.every_s
            self.minded = take(self.minded, Answer(self.now_s, self.answers), TIMINGS)
            if self.answers is Heard.WELL:
                self.silent_since_s = self.now_s
                self.told_due_s = None
        self.minded = look(self.minded, self.now_s, TIMINGS)
        wall = self.clock + self.wall_off_s
        gone = [condition(self.minded, wall - (self.now_s - self.minded.since_s))] if self.minded.gone else []
        self.write(step(self.kitchen, gone, [NAME], self.clock, returned(self.minded, wall)))
        for telling in due(self.kitchen, REACH, self.clock):
            if self.minded.gone and self.told_due_s is None:
                self.told_due_s = self.now_s
            works = telling.channel not in self.broken
            state = "accepted" if works else "failed"
            told = AlarmTold(telling.alarm, telling.occasion, telling.person, telling.channel, state)
            self.write([Draft(self.clock, "watch", told)])
            if works:
                self.said.append((self.now_s, telling.person, telling.occasion))
        self.check()

    def check(self) -> None:
        """Hold it to its promises at this second."""
        patience_s = TIMINGS.patience_s + TIMINGS.every_s + LOOK_S
        if self.now_s - max(self.silent_since_s, self.asked_since_s) > patience_s:
            assert self.told_due_s is not None, "silent for longer than the patience, and nothing was due"
        if self.minded.gone and not self.broken:
            for person in REACH:
                heard = [at for at, who, what in self.said if who == person and what != "returned"]
                latest = max([self.told_due_s or self.now_s, self.worked_since_s, *heard])
                assert self.now_s - latest <= REPEAT_S + RETRY_MOST_S, f"{person} hears nothing while it is gone"

    @rule(heard=st.sampled_from(Heard), seconds=st.integers(1, 900))
    def it_answers_like_this(self, heard: Heard, seconds: int) -> None:
        self.answers = heard
        for _ in range(seconds):
            self.second()

    @rule(pattern=st.lists(st.sampled_from(Heard), min_size=1, max_size=12))
    def it_answers_now_so_now_so(self, pattern: list[Heard]) -> None:
        for heard in pattern:
            self.answers = heard
            for _ in range(round(TIMINGS.every_s)):
                self.second()

    @rule(ways=st.sets(st.sampled_from(WAYS)))
    def ways_break_or_mend(self, ways: set[str]) -> None:
        if self.broken and not ways:
            self.worked_since_s = self.now_s
        self.broken = ways

    @rule(mends=st.booleans())
    def it_comes_and_goes_while_no_way_works(self, mends: bool) -> None:
        self.it_answers_like_this(Heard.NOTHING, 160)
        self.ways_break_or_mend(set(WAYS))
        self.it_answers_like_this(Heard.WELL, 45)
        if mends:
            self.it_answers_like_this(Heard.NOTHING, 160)
        self.ways_break_or_mend(set())
        self.it_answers_like_this(self.answers, 90)

    @rule(off_s=st.floats(-40_000.0, 40_000.0))
    def the_wall_clock_steps(self, off_s: float) -> None:
        self.wall_off_s = off_s

    @rule(seconds=st.integers(30, 4000))
    def nobody_asks_while_the_machine_sleeps(self, seconds: int) -> None:
        self.now_s += seconds
        self.asked_since_s = self.worked_since_s = self.now_s

    @invariant()
    def nobody_hears_that_it_is_back_who_did_not_hear_that_it_was_gone(self) -> None:
        for person in REACH:
            gone = False
            for _, who, occasion in self.said:
                if who != person:
                    continue
                assert gone or occasion != "returned", "told back without having been told gone, or twice"
                gone = occasion != "returned"

    @invariant()
    def nobody_is_told_the_same_again_before_the_repeat(self) -> None:
        last: dict[tuple[str, str, str], float] = {}
        for alarm in (*self.kitchen.alarms.values(), *self.kitchen.past_alarms.values()):
            for told in alarm.told:
                if told.accepted:
                    key = (alarm.id, told.person, told.occasion)
                    assert key not in last or told.at - last[key] >= REPEAT_S
                    last[key] = told.at

    @invariant()
    def it_is_gone_only_after_the_patience(self) -> None:
        if self.minded.gone:
            assert self.now_s - self.minded.since_s >= TIMINGS.patience_s
        assert self.minded.gone == bool(self.kitchen.active_alarms()) or self.now_s == self.minded.begun_s


TestMinding = Minding.TestCase
TestMinding.settings = settings(stateful_step_count=20)
