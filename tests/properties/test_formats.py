"""What holds for every payload: nothing raises, and what was resolved once resolves to itself."""

import json
from dataclasses import replace
from datetime import datetime
from math import isfinite

import cbor2
from hypothesis import given
from hypothesis import strategies as st

from collector.formats import pointer, senml, strict_cbor, strict_json, times
from collector.formats.mapping import Mapping, Measurement
from collector.message import Message, PlainNumber, Refusal, Sample, Source, believed_time, read_message

NOW = 1_800_000_000.0
SOURCES = (
    Source("senml/#", "senml"),
    Source("plain/#", "plain", plain=PlainNumber("1", decimal_comma=True)),
    Source(
        "mapped/{device}",
        "mapped",
        mapping=Mapping(
            (
                Measurement("{device}/{key}", "/v", unit="Cel", time="/t", time_format="epoch_s", numbers_as_text=True),
                Measurement("{/n}", "/vb", unit_from="#/u", time="/at", time_format="local", zone="Europe/Rome"),
                Measurement("c/{key}", "", unit="degF", sequence="/n", boot="/t", scale=0.1, offset=-1.0),
            ),
            each="",
        ),
    ),
)
TOPICS = st.sampled_from(["senml/a", "plain/a", "mapped/a"])
LABELS = st.sampled_from(
    ["n", "u", "v", "vs", "vb", "vd", "t", "ut", "s", "bn", "bt", "bu", "bv", "bs", "bver", "x", "x_", "at"]
)
LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**22), 10**22),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["Cel", "K", "4.1", "2026-10-25T02:30:00", "open", "a"]),
)
JSONS = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(LABELS, inner, max_size=6), max_leaves=20
)


def check(outcome: tuple[Sample, ...] | Refusal) -> None:
    if isinstance(outcome, Refusal):
        assert outcome.code
        assert outcome.reason.isprintable()
        return
    for sample in outcome:
        assert isfinite(sample.value)
        assert 0 < len(sample.channel) <= 200
        assert sample.channel.isprintable()
        assert sample.device_at is None or times.FIRST_AT <= sample.device_at < times.LAST_AT
        assert isfinite(believed_time(sample.device_at, NOW)[0])


@given(st.text(max_size=40) | TOPICS, st.binary(max_size=200))
def test_arbitrary_bytes_never_raise(topic: str, payload: bytes) -> None:
    check(read_message(Message(topic, payload, NOW), SOURCES))


@given(TOPICS, JSONS | st.lists(st.dictionaries(LABELS, LEAVES, max_size=5), max_size=5))
def test_arbitrary_json_never_raises(topic: str, value: object) -> None:
    check(read_message(Message(topic, json.dumps(value).encode(), NOW), SOURCES))


@given(TOPICS, st.text(alphabet='[]{}",:0123456789eE.-+truefalsn\\ud83 ', max_size=120))
def test_almost_json_never_raises(topic: str, text: str) -> None:
    check(read_message(Message(topic, text.encode(), NOW), SOURCES))


@given(st.binary(max_size=200) | JSONS.map(cbor2.dumps))
def test_arbitrary_cbor_never_raises_and_holds_nothing_but_plain_values(payload: bytes) -> None:
    for topic in ("senml/a", "mapped/a"):
        check(read_message(Message(topic, payload, NOW), tuple(replace(s, encoding="cbor") for s in SOURCES)))


@given(JSONS)
def test_what_the_strict_reader_takes_of_cbor_is_what_was_sent(value: object) -> None:
    found = strict_cbor.loads(cbor2.dumps(value))
    assert isinstance(found, Refusal) or found == value


@given(JSONS)
def test_what_the_strict_reader_takes_is_what_python_reads(value: object) -> None:
    payload = json.dumps(value).encode()
    found = strict_json.loads(payload)
    assert isinstance(found, Refusal) or found == json.loads(payload)


@given(st.text(max_size=30), JSONS)
def test_an_arbitrary_pointer_never_raises(text: str, value: object) -> None:
    pointer.value_at(value, text)


@given(st.dictionaries(st.text(max_size=6), st.integers(), max_size=4))
def test_a_pointer_made_from_a_key_finds_its_value(members: dict[str, int]) -> None:
    for key, value in members.items():
        assert pointer.value_at(members, "/" + key.replace("~", "~0").replace("/", "~1")) == value


# A double resolves a microsecond until the year 2242.
@given(st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1)), st.integers(0, 999_999_999))  # noqa: DTZ001
def test_a_time_survives_being_written_and_no_digit_is_rounded_up(wall: datetime, nanoseconds: int) -> None:
    text = wall.isoformat()[:19]
    found = times.rfc3339(f"{text}.{nanoseconds:09d}Z")
    whole = times.rfc3339(f"{text}Z")
    assert isinstance(found, times.DeviceTime)
    assert isinstance(whole, times.DeviceTime)
    assert int(found.at) == whole.at
    assert round((found.at - whole.at) * 1e6) == nanoseconds // 1000


NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9:./_-]{0,12}", fullmatch=True)
VALUES = st.floats(-1e6, 1e6) | st.integers(-1000, 1000)
RECORDS = st.fixed_dictionaries(
    {"n": NAMES},
    optional={
        "bn": NAMES,
        "bt": st.sampled_from([0, 1_799_999_000, 1_799_999_000.125]) | st.floats(-1000, 100),
        "bu": st.sampled_from(["Cel", "K", "%RH", "g", "/"]),
        "bv": VALUES,
        "u": st.sampled_from(["Cel", "K", "%RH", "kg", "A", "1"]),
        "t": st.floats(-1000, 100),
    },
)
RECORDS_WITH_VALUES = st.tuples(
    RECORDS,
    st.one_of(st.fixed_dictionaries({"v": VALUES}), st.fixed_dictionaries({"vb": st.booleans()}), st.just({"vs": "x"})),
).map(lambda pair: {**pair[0], **pair[1]})


@given(st.lists(RECORDS_WITH_VALUES, min_size=1, max_size=8))
def test_a_resolved_pack_written_again_gives_the_same_samples(pack: list[dict[str, object]]) -> None:
    once = senml.read(json.dumps(pack).encode(), NOW)
    assert not isinstance(once, Refusal)
    if not once:
        return
    payload = senml.payload_of("", [(s.channel, s.unit, s.value, s.device_at) for s in once])
    assert senml.read(payload, NOW) == once


@given(st.lists(RECORDS_WITH_VALUES, min_size=1, max_size=8))
def test_the_samples_of_a_pack_are_in_order_of_time(pack: list[dict[str, object]]) -> None:
    found = senml.read(json.dumps(pack).encode(), NOW)
    assert not isinstance(found, Refusal)
    instants = [NOW if s.device_at is None else s.device_at for s in found]
    assert instants == sorted(instants)


@given(st.floats(allow_nan=True) | st.none(), st.floats(1.6e9, 2e9))
def test_a_believed_time_is_near_receipt_or_is_receipt_in_doubt(device_at: float | None, received_at: float) -> None:
    measured_at, doubt = believed_time(device_at, received_at)
    assert received_at - 30 * 86_400 - 0.001 <= measured_at <= received_at + 120.001
    assert measured_at == (round(received_at, 3) if doubt or device_at is None else round(device_at, 3))
