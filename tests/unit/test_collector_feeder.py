"""The feeder without a database: its pauses, its cursor, what it sets aside, and what it never does."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest

from collector.feeder import CURSORS, KEPT_ASIDE, SET_ASIDE, Feeder, pause_s
from collector.health import Health
from collector.line_protocol import AccessRefused, Line, LinesRefused, reading_lines
from collector.readings import Reading
from collector.sample import Message, Refusal
from collector.storage import Arrival, MemoryReadings, MemoryWorking, StoreFailed

NOON = 1_767_268_800.0


@dataclass
class Lines:
    """An archive of lines alone, which refuses some texts and may be away."""

    bad: frozenset[str] = frozenset()
    fault: StoreFailed | None = None
    kept: dict[str, None] = field(default_factory=dict)

    def lines(self, arrivals: Sequence[Arrival]) -> list[Line]:
        return reading_lines(arrivals, {})

    def send(self, lines: Sequence[Line]) -> None:
        if self.fault is not None:
            raise self.fault
        self.kept |= {line.text: None for line in lines if line.text not in self.bad}
        if any(line.text in self.bad for line in lines):
            raise LinesRefused("unable to parse")


def arrivals(count: int) -> list[Arrival]:
    return [
        Arrival(Message("t", b"", NOON + i), (Reading("probe", NOON + i, float(i), "Cel", NOON + i),))
        for i in range(count)
    ]


def fed(lines: Lines, count: int, group: int = 10) -> tuple[Feeder, MemoryReadings, MemoryWorking, Health]:
    local, working, health = MemoryReadings(), MemoryWorking(), Health()
    local.append(arrivals(count))
    return Feeder(local, lines, working, health, lambda: NOON, group), local, working, health


def text(second: int) -> str:
    (line,) = reading_lines([arrivals(second + 1)[-1]], {})
    return line.text


def test_pauses_double_and_end_at_a_minute() -> None:
    assert [pause_s(n) for n in range(1, 9)] == [1, 2, 4, 8, 16, 32, 60, 60]
    assert pause_s(10_000) == 60


def test_groups_follow_each_other_without_a_pause_until_the_last() -> None:
    lines = Lines()
    feeder, *_ = fed(lines, 25)
    assert [feeder.step() for _ in range(3)] == [0.0, 0.0, 1.0]
    assert feeder.cursor == 25
    assert len(lines.kept) == 25


def test_a_refused_message_moves_the_cursor_and_writes_nothing() -> None:
    lines = Lines()
    feeder, local, *_ = fed(lines, 0)
    local.append([Arrival(Message("t", b"?", NOON), Refusal("not_json", "send JSON"))])
    feeder.step()
    assert (feeder.cursor, lines.kept) == (1, {})


def test_nothing_is_passed_while_the_database_is_away_and_the_pause_begins_anew_after_it() -> None:
    lines = Lines(fault=StoreFailed("away"))
    feeder, _, _, health = fed(lines, 5)
    assert [feeder.step() for _ in range(3)] == [1.0, 2.0, 4.0]
    assert feeder.cursor == 0
    lines.fault = None
    assert feeder.step() == 1.0
    lines.fault = StoreFailed("away again")
    part = health.part("influx")
    assert part is not None
    assert (part.state, part.numbers["behind"]) == ("works", 0)


def test_a_refusal_of_us_waits_a_minute_for_a_person() -> None:
    feeder, *_ = fed(Lines(fault=AccessRefused("401")), 5)
    assert feeder.step() == 60.0


@pytest.mark.parametrize("bad", [{0}, {9}, {3, 4}, set(range(10))])
def test_bad_lines_alone_are_set_aside_and_the_others_are_there(bad: set[int]) -> None:
    lines = Lines(bad=frozenset(text(i) for i in bad))
    feeder, _, working, _ = fed(lines, 10)
    feeder.step()
    assert feeder.cursor == 10
    assert feeder.set_aside == len(bad) == len(working.all(SET_ASIDE, NOON))
    assert set(lines.kept) == {text(i) for i in range(10) if i not in bad}


def test_a_line_set_aside_is_counted_once_though_its_group_comes_again() -> None:
    lines = Lines(bad=frozenset({text(2)}))
    feeder, _, working, _ = fed(lines, 5)
    feeder.step()
    working.remove(CURSORS, "influx")
    feeder.step()
    assert feeder.set_aside == 1


def test_of_very_many_bad_lines_some_are_kept_and_all_are_counted() -> None:
    count = KEPT_ASIDE + 50
    lines = Lines(bad=frozenset(line.text for line in reading_lines(arrivals(count), {})))
    feeder, _, working, _ = fed(lines, count, group=500)
    for _ in range(3):
        feeder.step()
    assert feeder.set_aside == count
    assert len(working.all(SET_ASIDE, NOON)) == KEPT_ASIDE


def test_a_log_put_back_to_an_older_copy_is_copied_from_its_beginning() -> None:
    lines = Lines()
    feeder, _, working, _ = fed(lines, 5)
    working.put(CURSORS, "influx", {"position": 900})
    feeder.step()
    assert (feeder.cursor, len(lines.kept)) == (5, 5)
