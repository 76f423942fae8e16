"""Alarms and telling as a state machine: nobody is told twice for nothing, and nothing stays silent."""

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from alerts.alarms import step
from alerts.escalation import REPEAT_S, due
from alerts.occasions import AT_MOST_S
from collector.events import AlarmAcknowledged, AlarmTold, Draft
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal

REACH = {"ana": ("hook", "log"), "bo": ("log",)}
ROTA = (RotaStep("ana", 0.0), RotaStep("bo", 300.0))
START = 1_764_030_000.0
LONGEST_QUIET_S = REPEAT_S + 60.0 + 30.0
"""A repeat is due after REPEAT_S; when every channel had failed, up to a minute later; the machine steps in 30 s."""


class Telling(RuleBasedStateMachine):
    """A room that warms and cools, people who answer or do not, channels that break."""

    def __init__(self) -> None:
        super().__init__()
        self.now = START
        self.warm = False
        self.sentence = "product_may_pass"
        self.broken: set[str] = set()
        self.worked_since = START
        self.journal = MemoryJournal()
        self.kitchen = Kitchen(
            sites={"s": Site("s", "S", "Europe/London", "US")},
            units={"room": Unit("room", "s", "R", "cold room")},
            rota=ROTA,
        )
        self.said: list[tuple[float, str, str, str]] = []

    def write(self, drafts: list[Draft]) -> None:
        self.kitchen = fold(self.journal.append(drafts, seen=self.kitchen.position, recorded_at=self.now), self.kitchen)

    def judge(self) -> None:
        condition = Condition("room", "product_warm", "temperature", True, self.now, ("B1",), sentence=self.sentence)
        self.write(step(self.kitchen, [condition] if self.warm else [], ["room"], self.now))

    def tell(self) -> None:
        for telling in due(self.kitchen, REACH, self.now):
            works = telling.channel not in self.broken
            told = AlarmTold(
                telling.alarm, telling.occasion, telling.person, telling.channel, "accepted" if works else "failed"
            )
            self.write([Draft(self.now, "watch", told)])
            if works:
                self.said.append((self.now, telling.person, telling.alarm, telling.occasion))

    @initialize()
    def begin(self) -> None:
        self.judge()

    @rule(warm=st.booleans(), passed=st.booleans())
    def the_room_changes(self, warm: bool, passed: bool) -> None:
        self.warm = warm
        self.sentence = "product_has_passed" if passed else "product_may_pass"

    @rule(channels=st.sets(st.sampled_from(["hook", "log"])))
    def channels_break_or_mend(self, channels: set[str]) -> None:
        if self.broken == {"hook", "log"} and channels != self.broken:
            self.worked_since = self.now
        self.broken = channels

    @precondition(lambda self: self.kitchen.active_alarms())
    @rule(answer=st.sampled_from(["going", "passing on", "cannot"]), minutes=st.integers(1, 300))
    def somebody_answers(self, answer: str, minutes: int) -> None:
        alarm = self.kitchen.active_alarms()[0]
        arriving = self.now + minutes * 60 if answer == "going" else None
        self.write([Draft(self.now, "ana", AlarmAcknowledged(alarm.id, answer, arriving))])

    @rule(steps=st.integers(1, 60))
    def time_passes(self, steps: int) -> None:
        for _ in range(steps):
            self.now += 30.0
            self.judge()
            self.tell()
            self.check_silence()

    def check_silence(self) -> None:
        if len(self.broken) == 2:
            return
        for alarm in self.kitchen.active_alarms():
            answered_at = alarm.raised_at if alarm.acknowledged_at is None else alarm.acknowledged_at
            longest = LONGEST_QUIET_S if alarm.answer != "going" else AT_MOST_S + LONGEST_QUIET_S - REPEAT_S
            heard = [t.at for t in alarm.told if t.accepted]
            latest = max([answered_at, self.worked_since, *heard])
            assert self.now - latest <= longest, f"{alarm.id} has been silent for {self.now - latest} s"

    @invariant()
    def a_person_is_told_of_an_occasion_again_only_after_the_repeat(self) -> None:
        last: dict[tuple[str, str, str], float] = {}
        for at, person, alarm, occasion in self.said:
            before = last.get((person, alarm, occasion))
            assert before is None or at - before >= REPEAT_S
            last[(person, alarm, occasion)] = at

    @invariant()
    def a_return_is_told_only_to_those_who_were_told_and_once(self) -> None:
        for alarm in (*self.kitchen.alarms.values(), *self.kitchen.past_alarms.values()):
            returned = [(p, o) for _, p, a, o in self.said if a == alarm.id and o == "returned"]
            earlier = {p for _, p, a, o in self.said if a == alarm.id and o != "returned"}
            assert len(returned) == len(set(returned))
            assert {p for p, _ in returned} <= earlier
            last = [o for _, p, a, o in self.said if a == alarm.id]
            assert "returned" not in last or all(o == "returned" for o in last[last.index("returned") :])

    @invariant()
    def replaying_the_journal_gives_the_same_alarms(self) -> None:
        start = Kitchen(sites=self.kitchen.sites, units=self.kitchen.units, rota=ROTA)
        assert fold(self.journal.read(0, 100_000), start) == self.kitchen

    @invariant()
    def at_most_one_alarm_stands_for_a_unit_and_kind(self) -> None:
        keys = [a.condition.key for a in self.kitchen.active_alarms()]
        assert len(keys) == len(set(keys))


TestTelling = Telling.TestCase
