"""A message of our own on its way, with the broker, the watch and the clock in hand."""

from dataclasses import dataclass, field

from api.canary import EVERY_S, FAILS_S, IN_TIME_S, NEVER_S, Canary
from collector.canary import OwnTopics
from collector.health import State
from collector.sample import Message
from collector.storage import Arrival

TOPIC = "curevigil/canary"


@dataclass
class Board:
    """Our connection to the broker."""

    connected: bool = True
    refused: dict[str, str] = field(default_factory=dict)
    ended: str = ""
    sent: list[bytes] = field(default_factory=list)

    def send(self, topic: str, payload: bytes) -> bool:
        assert topic == TOPIC
        if self.connected:
            self.sent.append(payload)
        return self.connected


class Bench:
    """A canary and everything that it asks."""

    def __init__(self) -> None:
        self.now_s, self.passed, self.there, self.board = 1000.0, 0, True, Board()
        self.canary = Canary(
            OwnTopics(), self.board, lambda: self.passed, lambda: self.there, lambda: 1_800_000_000.0,
            lambda: self.now_s, sender="0a1b",
        )  # fmt: skip

    def arrives(self, payload: bytes, position: int) -> None:
        self.canary.arrived([Arrival(Message(TOPIC, payload, 0.0), (), position)])

    def goes_round(self, after_s: float = 0.2) -> None:
        """Send one, let it arrive, and let the watch pass it."""
        self.canary.look()
        self.passed += 1
        self.arrives(self.board.sent[-1], self.passed)
        self.now_s += after_s
        self.canary.look()


def test_it_has_come_round_only_once_the_watch_has_passed_it() -> None:
    bench = Bench()
    bench.canary.look()
    assert len(bench.board.sent) == 1 and not bench.canary.good()
    assert bench.canary.said()[0] is State.STARTING
    bench.arrives(bench.board.sent[0], 12)
    bench.now_s += 0.4
    bench.passed = 11
    bench.canary.look()
    assert bench.canary.came_round == 0
    bench.passed = 12
    bench.canary.look()
    assert bench.canary.good()
    assert bench.canary.said() == (
        State.WORKS, "A message of our own came round, through the broker to the watch, in 0.40 s.",
    )  # fmt: skip
    assert bench.canary.numbers() == {"sent": 1, "came_round": 1, "seconds": 0.4}


def test_one_goes_out_every_minute() -> None:
    bench = Bench()
    for _ in range(300):
        bench.canary.look()
        bench.now_s += 1.0
    assert len(bench.board.sent) == 300 / EVERY_S


def test_anothers_canary_and_a_second_copy_count_for_nothing() -> None:
    bench = Bench()
    bench.canary.look()
    bench.passed = 99
    bench.arrives(b'[{"bn":"curevigil-canary/other","n":"","u":"/","v":1.0}]', 5)
    bench.canary.look()
    assert not bench.canary.good()
    bench.arrives(bench.board.sent[0], 6)
    bench.arrives(bench.board.sent[0], 7)
    bench.canary.look()
    assert bench.canary.came_round == 1


def test_one_that_comes_too_late_is_not_good() -> None:
    bench = Bench()
    bench.goes_round(IN_TIME_S)
    assert bench.canary.good()
    late = Bench()
    late.goes_round(IN_TIME_S + 0.1)
    assert late.canary.came_round == 1 and not late.canary.good()


def test_it_is_good_until_the_next_should_have_come_round() -> None:
    bench = Bench()
    bench.goes_round(0.0)
    bench.now_s += EVERY_S + IN_TIME_S
    assert bench.canary.good()
    bench.now_s += 0.1
    assert not bench.canary.good()


def test_with_the_broker_there_a_canary_that_stays_away_fails_soon_enough_for_a_second_watcher() -> None:
    bench = Bench()
    bench.goes_round()
    begun_s = bench.now_s
    while bench.canary.said()[0] is not State.FAILED:
        bench.now_s += 1.0
        bench.canary.look()
    assert FAILS_S <= bench.now_s - begun_s <= FAILS_S + 1.0
    assert FAILS_S + 120.0 + 20.0 < 300.0, "two minutes and a question of the second watcher, within five minutes"
    state, sentence = bench.canary.said()
    assert "has not arrived" in sentence and f"write and read {TOPIC}" in sentence


def test_one_that_never_came_round_is_given_more_time_and_then_fails() -> None:
    bench = Bench()
    for _ in range(round(NEVER_S)):
        bench.canary.look()
        assert bench.canary.said()[0] is State.STARTING
        bench.now_s += 1.0
    bench.now_s += 1.0
    assert bench.canary.said()[0] is State.FAILED


def test_late_ones_are_no_better_than_none() -> None:
    bench = Bench()
    bench.goes_round()
    good_s = bench.now_s
    while bench.now_s < good_s + FAILS_S + EVERY_S:
        bench.now_s += EVERY_S
        bench.goes_round(IN_TIME_S + 5.0)
    assert bench.canary.came_round > 2
    assert bench.canary.said()[0] is State.FAILED


def test_with_the_broker_away_it_is_in_doubt_and_counts_from_its_return() -> None:
    bench = Bench()
    bench.there = bench.board.connected = False
    for _ in range(600):
        bench.canary.look()
        bench.now_s += 1.0
    assert bench.canary.said() == (State.DOUBTFUL, "The broker is away, so no message of our own can come round.")
    assert bench.canary.missing_s() == 0.0
    bench.there = bench.board.connected = True
    assert bench.canary.missing_s() < 2.0
    bench.goes_round()
    assert bench.canary.good()


def test_what_the_broker_forbids_is_said_in_words_with_how_to_mend_it() -> None:
    bench = Bench()
    bench.board.refused[TOPIC] = "Not authorized"
    bench.canary.look()
    state, sentence = bench.canary.said()
    assert state is State.DOUBTFUL
    assert "does not let us write on curevigil/canary (Not authorized)" in sentence and "access list" in sentence
    bench.board.ended = "Not authorized"
    assert "does not let us in a second time" in bench.canary.said()[1]


def test_a_watch_that_has_not_come_so_far_is_named_as_the_cause() -> None:
    bench = Bench()
    bench.goes_round()
    bench.now_s += EVERY_S + IN_TIME_S + 1.0
    bench.canary.look()
    bench.arrives(bench.board.sent[-1], 50)
    bench.canary.look()
    assert "the watch has not come so far" in bench.canary.said()[1]


def test_a_second_connection_that_does_not_stand_is_named_as_the_cause() -> None:
    bench = Bench()
    bench.goes_round()
    bench.board.connected = False
    bench.now_s += EVERY_S + IN_TIME_S + 1.0
    bench.canary.look()
    assert "second connection" in bench.canary.said()[1]


def test_ones_that_never_come_are_forgotten() -> None:
    bench = Bench()
    for _ in range(40):
        bench.canary.look()
        bench.now_s += EVERY_S
    assert len(bench.canary._out) <= 11
