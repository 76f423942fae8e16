from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import pytest

from collector import ingest as module
from collector.events import GapSuspected
from collector.health import Health, State
from collector.inbox import Delivery, Inbox
from collector.ingest import GROUP_MAX, Ingest, last_received_at
from collector.message import Mapping, Measurement, PlainNumber, Source, read_message
from collector.readings import Reading
from collector.sample import Message, Quality, Refusal
from collector.storage import Arrival, MemoryReadings, StoreFailed

NOON = 1_800_000_000.0
SENML = Source("rooms/#", "senml")
PLAIN = Source("gauges/#", "plain", plain=PlainNumber(unit="Cel"))


class FakeLink:
    """A connection that writes down what is asked of it; a message not acknowledged comes again after a hang-up."""

    def __init__(self, inbox_max: int = 5_000) -> None:
        self.inbox = Inbox(inbox_max)
        self.gaps: deque[GapSuspected] = deque()
        self.story: list[str] = []
        self.acknowledged: list[int] = []
        self.queued: deque[tuple[int, Message]] = deque()
        self.generation = 1
        self.held = False

    def send(self, *messages: Message) -> None:
        for message in messages:
            mid = len(self.acknowledged) + len(self.queued) + 1
            self.queued.append((mid, message))
            assert self.inbox.put(Delivery(message, self.generation, mid, 1), 0)

    def start(self) -> None:
        self.story.append("start")

    def stop(self) -> None:
        self.story.append("stop")

    def supervise(self) -> None:
        pass

    def hold(self) -> None:
        self.held = True
        self.generation += 1
        self.story.append("hold")

    def release(self) -> None:
        self.held = False
        self.generation += 1
        self.story.append("release")
        for mid, message in self.queued:
            self.inbox.put(Delivery(message, self.generation, mid, 1), 0)

    def acknowledge(self, deliveries: Iterable[Delivery]) -> None:
        assert not self.held
        for delivery in deliveries:
            if delivery.generation == self.generation:
                assert self.queued[0][0] == delivery.mid, "acknowledged before an earlier message"
                self.queued.popleft()
                self.acknowledged.append(delivery.mid)
        self.story.append("acknowledge")


class Watched(MemoryReadings):
    """A store that tells the link's story of its commits, and fails when told to."""

    def __init__(self, link: FakeLink) -> None:
        super().__init__()
        self._link = link
        self.fails: list[Exception] = []
        self.odd_topic = ""

    def append(self, arrivals: Sequence[Arrival]) -> int:
        if self.fails:
            self._link.story.append("commit fails")
            raise self.fails.pop(0)
        odd = [a for a in arrivals if a.message.topic == self.odd_topic and not isinstance(a.outcome, Refusal)]
        if odd:
            raise ValueError("the store cannot hold this")
        position = super().append(arrivals)
        self._link.story.append(f"commit {len(arrivals)}")
        return position


class Intake:
    """An ingest with everything around it in sight."""

    def __init__(self, commit_every_s: float = 0.0) -> None:
        self.link = FakeLink()
        self.readings = Watched(self.link)
        self.health = Health()
        self.groups: list[Sequence[Arrival]] = []
        self.gaps: list[GapSuspected] = []
        self.follow: Callable[[Sequence[Arrival]], None] = self.groups.append
        self.record: Callable[[GapSuspected], None] = self.gaps.append
        self.ingest = Ingest(
            self.readings,
            self.link,
            (SENML, PLAIN),
            lambda: NOON,
            lambda group: self.follow(group),
            self.health,
            on_gap=lambda gap: self.record(gap),
            commit_every_s=commit_every_s,
            probes_s=(0.001, 0.002),
        )
        self.health.say("intake", State.WORKS, "", NOON)

    def sentence(self) -> tuple[State, str]:
        part = self.health.part("intake")
        assert part is not None
        return part.state, part.sentence


@pytest.fixture
def intake() -> Intake:
    return Intake()


def senml(second: int, value: float = 4.0, retained: bool = False) -> Message:
    payload = b'[{"n":"probe1","u":"Cel","t":%d,"v":%g}]' % (NOON - 100 + second, value)
    return Message("rooms/cold", payload, NOON + second / 1000, retained)


def values(intake: Intake, channel: str = "probe1") -> list[float]:
    return list(intake.readings.series(channel, 0.0, 2 * NOON).values)


def readings_of(intake: Intake) -> list[Reading]:
    kept = [a.outcome for a in intake.readings.arrivals(0, 100) if not isinstance(a.outcome, Refusal)]
    return [reading for outcome in kept for reading in outcome]


def test_a_group_is_kept_then_acknowledged_in_order_then_handed_on(intake: Intake) -> None:
    intake.follow = lambda group: intake.link.story.append(f"hand on {[a.position for a in group]}")
    intake.link.send(senml(1), senml(2), senml(3))
    assert intake.ingest.step(0) == 3
    assert intake.link.story == ["commit 3", "acknowledge", "hand on [1, 2, 3]"]
    assert intake.link.acknowledged == [1, 2, 3]


def test_a_group_is_no_larger_than_its_bound(intake: Intake) -> None:
    intake.link.send(*(senml(second) for second in range(GROUP_MAX + 7)))
    assert [intake.ingest.step(0), intake.ingest.step(0), intake.ingest.step(0)] == [GROUP_MAX, 7, 0]


def test_a_reading_keeps_the_devices_time_and_the_time_of_receipt(intake: Intake) -> None:
    intake.link.send(senml(1, 4.5))
    intake.ingest.step(0)
    outcome = intake.readings.arrivals(0, 1)[0].outcome
    assert not isinstance(outcome, Refusal)
    reading = outcome[0]
    assert (reading.measured_at, reading.device_at, reading.received_at) == (NOON - 99, NOON - 99, NOON + 0.001)
    assert reading.quality is Quality.GOOD


def test_a_clock_that_cannot_be_believed_is_replaced_by_the_receipt_and_marked(intake: Intake) -> None:
    intake.link.send(Message("rooms/cold", b'[{"n":"probe1","u":"Cel","t":946684800,"v":4}]', NOON))
    intake.ingest.step(0)
    outcome = intake.readings.arrivals(0, 1)[0].outcome
    assert not isinstance(outcome, Refusal)
    assert (outcome[0].measured_at, outcome[0].device_at) == (NOON, 946684800.0)
    assert outcome[0].quality is Quality.CLOCK_DOUBT


def test_what_cannot_be_read_is_kept_raw_with_its_reason_acknowledged_and_stops_nothing(intake: Intake) -> None:
    poison = Message("rooms/cold", b"\xff[", NOON)
    elsewhere = Message("garden/pond", b"1", NOON)
    intake.link.send(senml(1, 1.0), poison, elsewhere, senml(2, 2.0))
    intake.ingest.step(0)
    assert intake.link.acknowledged == [1, 2, 3, 4]
    assert values(intake) == [1.0, 2.0]
    refused = intake.readings.refused(0, 10)
    assert [(a.position, a.message) for a in refused] == [(2, poison), (3, elsewhere)]
    assert intake.ingest.tally.refused == 2


def test_a_message_over_which_the_reading_itself_stumbles_is_kept_raw(
    intake: Intake, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stumbling(message: Message, sources: Sequence[Source]) -> object:
        if message.payload == b"odd":
            raise RecursionError("too deep")
        return read_message(message, sources)

    monkeypatch.setattr(module, "kept_of", stumbling)
    intake.link.send(senml(1), Message("rooms/cold", b"odd", NOON), senml(2))
    intake.ingest.step(0)
    assert intake.link.acknowledged == [1, 2, 3]
    outcome = intake.readings.refused(0, 10)[0].outcome
    assert isinstance(outcome, Refusal)
    assert outcome.code == "stumbled"
    assert "RecursionError" in outcome.reason


def test_a_message_that_the_store_cannot_hold_as_read_is_kept_raw_and_the_others_as_read(intake: Intake) -> None:
    intake.readings.odd_topic = "gauges/odd"
    intake.link.send(senml(1, 1.0), Message("gauges/odd", b"9", NOON), senml(2, 2.0))
    intake.ingest.step(0)
    assert intake.link.acknowledged == [1, 2, 3]
    assert values(intake) == [1.0, 2.0]
    assert [a.position for a in intake.readings.refused(0, 10)] == [2]
    assert [a.position for a in intake.groups[0]] == [1, 2, 3]
    assert isinstance(intake.groups[0][1].outcome, Refusal)


def test_a_retained_message_is_kept_as_state_and_is_no_reading(intake: Intake) -> None:
    intake.link.send(senml(1, 7.0, retained=True))
    intake.ingest.step(0)
    arrival = intake.readings.arrivals(0, 1)[0]
    assert (arrival.message.retained, arrival.outcome) == (True, ())
    assert values(intake) == []
    assert intake.readings.refused(0, 10) == []
    assert intake.link.acknowledged == [1]
    assert intake.ingest.tally.retained == 1


KEYED = Source(
    "keyed/{device}",
    "mapped",
    mapping=Mapping(
        (Measurement("{device}/air", "/c", unit="Cel", time="/at", time_format="epoch_s", dedupe=("/id",)),)
    ),
    retained="reading",
)


def keyed(payload: str, *, retained: bool = False, at: float = NOON) -> Message:
    return Message("keyed/tub", payload.encode(), at, retained)


def test_a_retained_message_is_a_reading_where_its_source_says_so_and_no_sign_of_life(intake: Intake) -> None:
    intake.ingest.sources = (KEYED,)
    intake.link.send(keyed(f'{{"c": 4.5, "at": {NOON - 3600}}}', retained=True), keyed('{"c": 5.5}', retained=True))
    intake.ingest.step(0)
    (reading,) = readings_of(intake)
    assert (reading.value, reading.measured_at, reading.received_at) == (4.5, NOON - 3600, NOON - 3600)
    assert [a.outcome for a in intake.readings.arrivals(1, 9)] == [()], "without a time of its own it is state"
    intake.link.send(keyed(f'{{"c": 4.5, "at": {NOON - 3600}}}', retained=True, at=NOON + 60))
    intake.ingest.step(0)
    assert len(readings_of(intake)) == 1, "sent again after the next subscription"


def test_a_retained_message_whose_source_ignores_it_is_acknowledged_and_not_kept(intake: Intake) -> None:
    intake.ingest.sources = (replace(SENML, retained="ignore"),)
    intake.link.send(senml(1, retained=True))
    assert intake.ingest.step(0) == 1
    assert (intake.link.acknowledged, intake.readings.head(), intake.groups) == ([1], 0, [])
    intake.link.send(senml(2, retained=True), senml(3), senml(4, retained=True))
    intake.ingest.step(0)
    assert (intake.link.acknowledged, intake.readings.head()) == ([1, 2, 3, 4], 1)
    assert [a.position for a in intake.groups[0]] == [1]
    assert (intake.ingest.tally.ignored, intake.ingest.tally.messages) == (3, 1)


def test_the_same_key_is_the_same_reading_even_without_a_time(intake: Intake) -> None:
    intake.ingest.sources = (KEYED,)
    first, again = keyed('{"c": 4.5, "id": "a"}'), keyed('{"c": 4.5, "id": "a"}', at=NOON + 2)
    intake.link.send(first, again, keyed('{"c": 4.5, "id": "b"}', at=NOON + 4))
    intake.ingest.step(0)
    assert [r.measured_at for r in readings_of(intake)] == [NOON, NOON + 4]
    assert len(intake.link.acknowledged) == 3


def test_a_second_delivery_of_a_dated_reading_adds_nothing(intake: Intake) -> None:
    intake.link.send(senml(1, 4.0), senml(1, 4.0))
    intake.ingest.step(0)
    assert values(intake) == [4.0]
    assert intake.readings.head() == 2


def test_a_failing_follower_is_counted_told_and_stops_nothing(intake: Intake) -> None:
    def stumble(group: Sequence[Arrival]) -> None:
        raise ZeroDivisionError

    intake.follow = stumble
    intake.link.send(senml(1))
    intake.ingest.step(0)
    assert intake.link.acknowledged == [1]
    assert intake.ingest.tally.handing_failures == 1
    assert intake.sentence()[0] is State.DOUBTFUL
    intake.follow = intake.groups.append
    intake.link.send(senml(2))
    intake.ingest.step(0)
    assert [a.position for a in intake.groups[0]] == [2]
    assert intake.sentence()[0] is State.WORKS


def test_nothing_is_acknowledged_that_was_not_committed(intake: Intake) -> None:
    intake.readings.fails = [StoreFailed("database or disk is full")]
    intake.link.send(senml(1), senml(2))
    with pytest.raises(StoreFailed):
        intake.ingest.step(0)
    assert intake.link.acknowledged == []
    assert intake.groups == []


def test_a_store_that_fails_is_tried_until_it_commits_and_what_came_meanwhile_comes_again(
    intake: Intake, eventually: Callable[..., None]
) -> None:
    told: list[tuple[State, str]] = []
    real = intake.readings.append

    def append(arrivals: Sequence[Arrival]) -> int:
        told.append(intake.sentence())
        return real(arrivals)

    intake.readings.append = append  # type: ignore[method-assign]
    intake.readings.fails = [StoreFailed("database or disk is full")] * 3 + [OverflowError("odd"), ValueError("odd")]
    intake.link.send(senml(1, 1.0), senml(2, 2.0), senml(3, 3.0))
    intake.ingest.start()
    try:
        eventually(lambda: len(intake.link.acknowledged) == 3, "all three are acknowledged", 5.0)
    finally:
        intake.ingest.stop()
    assert values(intake) == [1.0, 2.0, 3.0]
    story = intake.link.story
    assert story[:3] == ["start", "commit fails", "hold"]
    assert story[-5:] == ["commit 1", "release", "commit 3", "acknowledge", "stop"]
    assert "acknowledge" not in story[: story.index("release")]
    assert intake.ingest.tally.store_failures >= 3
    state, sentence = told[1]
    assert state is State.FAILED
    assert "database or disk is full" in sentence
    assert "Nothing is acknowledged" in sentence


def test_the_intake_begins_anew_after_a_fault_of_its_own_and_loses_nothing(
    intake: Intake, eventually: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "STUMBLED_S", 0.001)
    intake.readings.fails = [ValueError("odd")] * 3
    intake.link.send(senml(1, 1.0), senml(2, 2.0))
    intake.ingest.start()
    try:
        eventually(lambda: len(intake.link.acknowledged) == 2, "both are acknowledged", 5.0)
    finally:
        intake.ingest.stop()
    assert values(intake) == [1.0, 2.0]
    assert intake.ingest.tally.stumbles == 1


def test_a_suspected_gap_is_recorded_once_and_before_the_messages_that_follow_it(intake: Intake) -> None:
    gap = GapSuspected(NOON - 60, NOON, "the broker knew no session of ours")
    intake.record = lambda found: intake.link.story.append(f"gap until {found.until_at:.0f}")
    intake.link.gaps.append(gap)
    intake.link.send(senml(1))
    intake.ingest.step(0)
    intake.ingest.step(0)
    assert intake.link.story == [f"gap until {NOON:.0f}", "commit 1", "acknowledge"]


def test_a_gap_that_cannot_be_recorded_yet_is_kept_and_stops_no_reading(
    intake: Intake, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(gap: GapSuspected) -> None:
        raise StoreFailed("the journal is locked")

    monkeypatch.setattr(module, "GAP_AGAIN_S", 0.0)
    intake.record = fail
    gap = GapSuspected(NOON - 60, NOON, "the broker knew no session of ours")
    intake.link.gaps.append(gap)
    intake.link.send(senml(1))
    intake.ingest.step(0)
    assert intake.link.acknowledged == [1]
    intake.record = intake.gaps.append
    intake.ingest.step(0)
    assert intake.gaps == [gap]
    assert not intake.link.gaps


def test_numbers_for_health_follow_what_was_taken(intake: Intake) -> None:
    intake.link.send(senml(1), senml(2), Message("garden/pond", b"1", NOON + 5))
    intake.ingest.step(0)
    part = intake.health.part("intake")
    assert part is not None
    assert (part.numbers["messages"], part.numbers["readings"], part.numbers["refused"]) == (3, 2, 1)
    assert (part.numbers["waiting"], part.numbers["last_at"]) == (0, NOON + 5)


def test_stopping_ends_the_thread_before_the_connection(intake: Intake) -> None:
    intake.ingest.start()
    assert intake.ingest.alive
    intake.ingest.stop()
    assert not intake.ingest.alive
    assert intake.link.story == ["start", "stop"]
    assert intake.sentence()[0] is State.STOPPED


def test_a_store_that_pays_dearly_for_each_commit_gets_them_apart_and_stopping_does_not_wait(
    eventually: Callable[..., None],
) -> None:
    intake = Intake(commit_every_s=600.0)
    intake.ingest.start()
    intake.link.send(senml(1))
    eventually(lambda: intake.link.acknowledged == [1], "the first group is kept at once", 5.0)
    intake.link.send(senml(2), senml(3))
    intake.ingest.stop()
    assert not intake.ingest.alive
    assert intake.ingest.tally.groups <= 2
    assert intake.link.story.count("commit 1") == 1


def test_sources_can_be_replaced_while_it_runs(intake: Intake) -> None:
    intake.ingest.sources = (PLAIN,)
    intake.link.send(senml(1))
    intake.ingest.step(0)
    assert len(intake.readings.refused(0, 10)) == 1


def test_the_last_receipt_is_found_in_the_log_or_where_that_is_trimmed_in_the_archive(intake: Intake) -> None:
    assert last_received_at(intake.readings) is None
    intake.link.send(senml(1), senml(2))
    intake.ingest.step(0)
    assert last_received_at(intake.readings) == NOON + 0.002
    assert intake.readings.trim(NOON + 10, 2) == 2
    assert last_received_at(intake.readings) == NOON - 98
