"""The publisher's pace, payload and queue, without any broker."""

import json
import threading
from pathlib import Path

import numpy as np
import pytest

from collector.message import Message, Quality, Sample, Source, read_message
from simulators.faults import Sent
from simulators.publisher import Pace, Publisher, as_sent, publish, secret, senml
from simulators.smokehouse import SENML_UNITS, Measured, story


def test_the_virtual_clock_runs_at_its_rate_from_where_both_clocks_met() -> None:
    pace = Pace(virtual_at=1000.0, real_at=50.0, rate=60.0)
    assert pace.virtual(50.0) == 1000.0
    assert pace.virtual(52.0) == 1120.0
    assert pace.wait_s(1120.0, 51.0) == 1.0
    assert pace.wait_s(940.0, 50.0) == -1.0


def test_a_reading_becomes_a_senml_pack_of_one_record() -> None:
    payload = senml(Sent("smokehouse/fridge/air", 3.0625, 1_795_000_017.0004, 1_795_000_018.0), "Cel")
    assert json.loads(payload) == [{"n": "smokehouse/fridge/air", "u": "Cel", "v": 3.0625, "t": 1_795_000_017.0}]
    assert b" " not in payload


def test_the_collector_reads_every_channel_as_it_was_measured() -> None:
    week = story(1_795_000_000.0, np.random.default_rng(1))
    sources = [Source("smokehouse/#", "senml")]
    seen = set()
    for sent in as_sent(week.readings(week.fault_at, week.fault_at + 300.0)):
        seen.add(sent.channel)
        payload = senml(sent, SENML_UNITS[sent.channel])
        unit = SENML_UNITS[sent.channel].replace("/", "1")
        read = read_message(Message(sent.channel, payload, sent.received_at), sources)
        assert read == (Sample(sent.channel, sent.value, unit, sent.measured_at, quality=Quality.GOOD),)
    assert seen == set(SENML_UNITS)


def test_a_measured_reading_goes_out_its_latency_later() -> None:
    (sent,) = as_sent([Measured("a", "Cel", 1.5, 10.0)], latency_s=0.25)
    assert sent == Sent("a", 1.5, 10.0, 10.25)


def test_messages_wait_within_their_bound_while_no_broker_is_there() -> None:
    publisher = Publisher("127.0.0.1", 1, waiting_max=3)
    taken = [publisher.offer("a", b"x") for _ in range(5)]
    assert taken == [True, True, True, False, False]
    assert publisher.unsent == 3
    assert not publisher.connected


class Hands(threading.Event):
    """A stop that is never given; waiting on it moves the hands of a clock instead."""

    def __init__(self) -> None:
        super().__init__()
        self.at = 0.0

    def wait(self, timeout: float | None = None) -> bool:
        self.at += timeout or 0.0
        return False


def test_each_reading_is_offered_at_its_own_virtual_instant() -> None:
    hands = Hands()
    publisher = Publisher("127.0.0.1", 1)
    offered_at: list[tuple[float, int]] = []

    def clock() -> float:
        offered_at.append((hands.at, publisher.unsent))
        return hands.at

    stream = [Sent("a", 1.0, 60.0, 60.0), Sent("a", 2.0, 60.0, 60.0), Sent("a", 3.0, 180.0, 180.0)]
    assert publish(publisher, stream, {"a": "Cel"}, Pace(0.0, 0.0, 60.0), hands, clock) == 3
    # At sixty virtual seconds a real one: the first two after one second, the third after three.
    assert offered_at == [(0.0, 0), (1.0, 0), (1.0, 1), (1.0, 2), (3.0, 2)]


def test_a_stopped_publisher_leaves_the_rest_of_the_stream_alone() -> None:
    stop = threading.Event()
    stop.set()
    assert publish(Publisher("127.0.0.1", 1), [Sent("a", 1.0, 9e9, 9e9)], {"a": "Cel"}, Pace(0, 0, 1), stop) == 0


def test_a_password_comes_from_the_environment_or_a_file_and_from_nowhere_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "password").write_text("from the file\n")
    monkeypatch.setenv("KITCHEN_PASSWORD", "from the environment")
    assert secret(f"file:{tmp_path / 'password'}") == "from the file"
    assert secret("env:KITCHEN_PASSWORD") == "from the environment"
    for wrong in ("plain words", "env:NOT_SET_ANYWHERE", f"file:{tmp_path / 'missing'}"):
        with pytest.raises(ValueError, match="write env:NAME of a set variable or file:PATH"):
            secret(wrong)
