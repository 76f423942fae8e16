"""SenML: the examples of RFC 8428 (inputs from the working group's repository), and edges of our own."""

import json

import cbor2
import pytest

from collector.formats import senml
from collector.sample import Quality, Refusal, Sample

NOW = 1_800_000_000.0
ONE_WIRE = "urn:dev:ow:10e2073a01080063"


def taken(pack: object, received_at: float = NOW) -> tuple[Sample, ...]:
    samples = senml.read(json.dumps(pack).encode(), received_at)
    assert not isinstance(samples, Refusal), samples
    return samples


def refused(pack: object) -> Refusal:
    outcome = senml.read(json.dumps(pack).encode(), NOW)
    assert isinstance(outcome, Refusal), outcome
    return outcome


def rows(pack: object) -> list[tuple[str, float, str, float | None]]:
    return [(s.channel, s.value, s.unit, s.device_at) for s in taken(pack)]


def test_s1_a_single_value_is_measured_now() -> None:
    assert taken([{"n": ONE_WIRE, "u": "Cel", "v": 23.1}]) == (Sample(ONE_WIRE, 23.1, "Cel"),)


def test_s2_a_base_name_stands_before_each_name() -> None:
    pack = [
        {"bn": f"{ONE_WIRE}:", "n": "voltage", "t": 0, "u": "V", "v": 120.1},
        {"n": "current", "t": 0, "u": "A", "v": 1.2},
    ]
    assert rows(pack) == [(f"{ONE_WIRE}:voltage", 120.1, "V", None), (f"{ONE_WIRE}:current", 1.2, "A", None)]


@pytest.mark.parametrize("ending", [":", "/"])
def test_s3_times_count_from_the_base_time_and_the_samples_are_in_order(ending: str) -> None:
    name = f"urn:dev:ow:10e2073a0108006{ending}"
    pack = [
        {"bn": name, "bt": 1276020076.001, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
        {"n": "current", "t": -3, "v": 1.4},
        {"n": "current", "t": -2, "v": 1.5},
        {"n": "current", "t": -1, "v": 1.6},
        {"n": "current", "v": 1.7},
    ]
    assert rows(pack) == [
        (f"{name}current", 1.2, "A", 1276020071.001),
        (f"{name}current", 1.3, "A", 1276020072.001),
        (f"{name}current", 1.4, "A", 1276020073.001),
        (f"{name}current", 1.5, "A", 1276020074.001),
        (f"{name}current", 1.6, "A", 1276020075.001),
        (f"{name}voltage", 120.1, "V", 1276020076.001),
        (f"{name}current", 1.7, "A", 1276020076.001),
    ]


def test_s4_a_record_of_base_fields_alone_yields_nothing() -> None:
    values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7, 21.5, 21.5, 21.5]
    times = [*range(0, 100, 10), 91, 92]
    pack = [
        {"bn": ONE_WIRE, "bt": 1320067464, "bu": "%RH"},
        *({"v": v, "t": t} for v, t in zip(values, times, strict=True)),
    ]
    assert rows(pack) == [(ONE_WIRE, v, "%RH", 1320067464.0 + t) for v, t in zip(values, times, strict=True)]
    assert rows(pack)[-1][3] == 1320067556


def test_s5_a_unit_in_the_record_stands_over_the_base_unit() -> None:
    humid = {0: 20.0, 60: 20.3, 120: 20.7, 180: 21.2}
    lon = {0: 24.30621, 60: 24.30622, 120: 24.30623, 180: 24.30628}
    lat = {0: 60.07965, 60: 60.07965, 120: 60.07966, 180: 60.07967}
    pack: list[dict[str, object]] = [{"bn": ONE_WIRE, "bt": 1320067464, "bu": "%RH"}]
    for t in humid:
        pack += [{"v": humid[t], "t": t}, {"u": "lon", "v": lon[t], "t": t}, {"u": "lat", "v": lat[t], "t": t}]
    pack.append({"u": "%EL", "v": 98, "t": 150})
    found = rows(pack)
    assert len(found) == 13
    assert {(row[2], row[3]) for row in found if row[2] == "%EL"} == {("%EL", 1320067614.0)}
    assert [row[1] for row in found if row[2] == "%RH"] == [20.0, 20.3, 20.7, 21.2]


def test_s7_numbers_and_booleans_are_samples_and_texts_and_data_are_not() -> None:
    pack = [
        {"bn": f"{ONE_WIRE}:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ]
    assert rows(pack) == [(f"{ONE_WIRE}:temp", 23.1, "Cel", None), (f"{ONE_WIRE}:open", 0.0, "1", None)]


def test_s9_the_value_of_a_switch_is_a_contact() -> None:
    pack = [
        {"bn": f"{ONE_WIRE}:"},
        {"n": "temp", "u": "Cel", "v": 23.1},
        {"n": "heat", "u": "/", "v": 1},
        {"n": "fan", "u": "/", "v": 0},
    ]
    assert [row[:3] for row in rows(pack)] == [
        (f"{ONE_WIRE}:temp", 23.1, "Cel"),
        (f"{ONE_WIRE}:heat", 1.0, "1"),
        (f"{ONE_WIRE}:fan", 0.0, "1"),
    ]


def test_s10_and_s11_a_name_and_a_base_name_say_the_same() -> None:
    named = [
        {"n": ONE_WIRE, "u": "Cel", "t": 1.276020076e09, "v": 23.5},
        {"n": ONE_WIRE, "u": "Cel", "t": 1.276020091e09, "v": 23.6},
    ]
    based = [{"bn": ONE_WIRE, "u": "Cel", "t": 1.276020076e09, "v": 23.5}, {"u": "Cel", "t": 1.276020091e09, "v": 23.6}]
    assert rows(named) == rows(based) == [(ONE_WIRE, 23.5, "Cel", 1276020076.0), (ONE_WIRE, 23.6, "Cel", 1276020091.0)]


def test_base_values_are_added_and_a_missing_value_is_zero() -> None:
    assert rows([{"n": "a", "bv": 20, "v": -24}]) == [("a", -4.0, "", None)]
    assert rows([{"n": "a", "bv": 5}]) == [("a", 5.0, "", None)]
    assert rows([{"bn": "a", "bv": 5}, {"n": "1"}, {"n": "2", "v": 0.1}]) == [
        ("a1", 5.0, "", None),
        ("a2", 5.1, "", None),
    ]


def test_a_relative_time_counts_from_receipt_and_the_threshold_is_two_to_the_28() -> None:
    assert rows([{"n": "a", "v": 1, "t": -5}]) == [("a", 1.0, "", NOW - 5)]
    assert rows([{"n": "a", "v": 1, "t": 10}]) == [("a", 1.0, "", NOW + 10)]
    assert rows([{"n": "a", "v": 1, "bt": 268435450, "t": 10}]) == [("a", 1.0, "", 268435460.0)]
    assert rows([{"n": "a", "v": 1, "t": 268435456}]) == [("a", 1.0, "", 268435456.0)]
    assert rows([{"n": "a", "v": 1, "t": 268435455}]) == [("a", 1.0, "", NOW + 268435455)]


def test_a_pack_without_numbers_is_no_refusal() -> None:
    assert taken([{"n": "a", "vs": "x"}, {"n": "b", "vd": ""}]) == ()
    assert taken([{"bn": "a"}]) == ()
    assert taken([{"n": "a", "u": "J", "s": 12.5}, {"bs": 3, "n": "a", "t": -1}]) == ()


def test_a_sum_beside_a_value_leaves_the_value() -> None:
    assert rows([{"n": "a", "u": "Cel", "v": 4, "s": 12.5}]) == [("a", 4.0, "Cel", None)]


def test_the_update_time_becomes_the_longest_silence() -> None:
    assert [
        s.silence_s for s in taken([{"n": "a", "v": 1, "ut": 60}, {"n": "b", "v": 1}, {"n": "c", "vb": True, "ut": 0}])
    ] == [60, None, None]


def test_unknown_fields_are_ignored_unless_they_must_be_understood() -> None:
    assert rows([{"n": "a", "v": 1, "foo": {"bar": 1}, "l": "x"}]) == [("a", 1.0, "", None)]
    assert refused([{"n": "a", "v": 1}, {"n": "b", "v": 2, "foo_": 1}]).code == "senml_label"


def test_kelvin_and_gram_become_base_units_and_fault_values_are_marked() -> None:
    assert rows([{"n": "a", "u": "K", "v": 277.25}, {"n": "b", "u": "g", "v": 1250}]) == [
        ("a", 4.1, "Cel", None),
        ("b", 1.25, "kg", None),
    ]
    assert [s.quality for s in taken([{"n": "a", "u": "Cel", "v": 85}, {"n": "b", "u": "Cel", "v": -300}])] == [
        Quality.PROBE_FAULT,
        Quality.OUT_OF_RANGE,
    ]


REFUSED: list[tuple[object, str]] = [
    ([], "senml_shape"),
    ({}, "senml_shape"),
    ({"n": "a", "v": 1}, "senml_shape"),
    (5, "senml_shape"),
    ([1], "senml_shape"),
    ([[{"n": "a", "v": 1}]], "senml_shape"),
    ([{"n": "a", "v": 1, "vs": "x"}], "senml_value"),
    ([{"n": "a", "vb": True, "vd": "aGk"}], "senml_value"),
    ([{"n": "a"}], "senml_value"),
    ([{"n": "a", "u": "Cel", "t": 5}], "senml_value"),
    ([{"v": 1}], "senml_name"),
    ([{"n": "-a", "v": 1}], "senml_name"),
    ([{"n": "a b", "v": 1}], "senml_name"),
    ([{"n": "a\n", "v": 1}], "senml_name"),
    ([{"n": "Küche", "v": 1}], "senml_name"),
    ([{"n": "a" * 201, "v": 1}], "bad_channel"),
    ([{"n": "a", "v": True}], "senml_type"),
    ([{"n": "a", "v": "3.4"}], "senml_type"),
    ([{"n": "a", "v": None}], "senml_type"),
    ([{"n": "a", "vb": 1}], "senml_type"),
    ([{"n": "a", "vs": 1}], "senml_type"),
    ([{"n": "a", "vd": "aGk="}], "senml_type"),
    ([{"n": "a", "vd": "a"}], "senml_type"),
    ([{"n": 5, "v": 1}], "senml_type"),
    ([{"n": "a", "u": 5, "v": 1}], "senml_type"),
    ([{"n": "a", "t": "now", "v": 1}], "senml_type"),
    ([{"n": "a", "ut": -1, "v": 1}], "senml_type"),
    ([{"n": "a", "bt": False, "v": 1}], "senml_type"),
    ([{"bver": 11, "n": "a", "v": 1}], "senml_version"),
    ([{"bver": 5, "n": "a", "v": 1}, {"bver": 10, "n": "a", "v": 1}], "senml_version"),
    ([{"n": "a", "v": 1}, {"bver": 5, "n": "a", "v": 1}], "senml_version"),
    ([{"bver": 0, "n": "a", "v": 1}], "senml_type"),
    ([{"bver": 9.5, "n": "a", "v": 1}], "senml_type"),
    ([{"bver": "10", "n": "a", "v": 1}], "senml_type"),
    ([{"n": "a", "v": 1, "t": 1.8e12}], "bad_time"),
    ([{"n": "a", "v": 1, "t": -1e300}], "bad_time"),
    ([{"n": "a", "bt": 1e308, "t": 1e308, "v": 1}], "bad_time"),
    ([{"n": "a", "bv": 1e308, "v": 1e308}], "not_finite"),
    ([{"n": "a", "u": "x" * 33, "v": 1}], "senml_unit"),
    ([{"n": "a", "u": "C\u0000", "v": 1}], "senml_unit"),
]


@pytest.mark.parametrize(("pack", "code"), REFUSED, ids=lambda given: str(given)[:40])
def test_a_pack_against_the_rules_is_refused_whole(pack: object, code: str) -> None:
    refusal = refused(pack)
    assert refusal.code == code
    assert refusal.reason.isprintable()


def test_a_refusal_names_the_record() -> None:
    assert refused([{"n": "a", "v": 1}, {"n": "b", "v": True}]).reason.startswith("record 2: ")


def test_a_pack_may_be_longer_than_a_message_of_another_format() -> None:
    assert len(taken([{"n": f"channel{i}", "u": "Cel", "v": 4.0} for i in range(5000)])) == 5000
    assert senml.read(b" " * (1024 * 1024) + b"[]", NOW) == Refusal(
        "too_large", "1048578 bytes where at most 1048576 are read; send smaller messages"
    )


def test_what_a_sender_writes_is_read_back() -> None:
    payload = senml.payload_of(
        "smokehouse/coldroom/",
        [("air", "Cel", 3.25, NOW), ("door", "1", 1.0, NOW + 0.125), ("x", "", 2.0, None)],
        update_s=60.0,
    )
    assert json.loads(payload) == [
        {"bn": "smokehouse/coldroom/", "n": "air", "u": "Cel", "v": 3.25, "t": NOW, "ut": 60.0},
        {"n": "door", "u": "/", "v": 1.0, "t": NOW + 0.125, "ut": 60.0},
        {"n": "x", "v": 2.0, "ut": 60.0},
    ]
    assert senml.read(payload, NOW + 1) == (
        Sample("smokehouse/coldroom/air", 3.25, "Cel", NOW, silence_s=60.0),
        Sample("smokehouse/coldroom/door", 1.0, "1", NOW + 0.125, silence_s=60.0),
        Sample("smokehouse/coldroom/x", 2.0, "", silence_s=60.0),
    )


@pytest.mark.parametrize(
    "records",
    [
        [],
        [("a", "Cel", float("nan"), NOW)],
        [("a", "Cel", float("inf"), None)],
        [("a", "Cel", 1.0, 5.0)],
        [("a", "Cel", 1.0, 1e12)],
    ],
)
def test_what_no_pack_can_hold_is_our_own_mistake(records: list[tuple[str, str, float, float | None]]) -> None:
    with pytest.raises(ValueError, match=r"a pack holds|cannot be sent|would not be read"):
        senml.payload_of("", records)


# The same in CBOR.

S3_CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501"
    "615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccda3"
    "006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999"
    "999aa3006763757272656e74060002fb3ffb333333333333"
)


def of_cbor(pack: object) -> tuple[Sample, ...] | Refusal:
    return senml.read(cbor2.dumps(pack), NOW, encoding="cbor")


def test_s3_in_cbor_gives_the_same_as_in_json() -> None:
    found = senml.read(S3_CBOR, NOW, encoding="cbor")
    assert isinstance(found, tuple)
    name = "urn:dev:ow:10e2073a0108006:"
    currents = [(f"{name}current", v, "A", 1276020071.001 + i) for i, v in enumerate((1.2, 1.3, 1.4, 1.5, 1.6, 1.7))]
    # In order of time, as both stand at the last instant, as they were sent.
    expected = [*currents[:5], (f"{name}voltage", 120.1, "V", 1276020076.001), currents[5]]
    assert [(s.channel, s.value, s.unit, s.device_at) for s in found] == expected
    bare = {"bn": name, "bt": 1276020076.001, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1}
    pack = [bare, *({"n": "current", "t": i - 5, "v": c[1]} for i, c in enumerate(currents))]
    assert found == taken(pack)


def test_every_label_of_cbor_is_the_field_of_its_name() -> None:
    record = {-1: 10, -2: "tub:", -3: NOW, -4: "K", -5: 270.0, 0: "air", 2: 7.15, 6: -60, 7: 300}
    assert of_cbor([record]) == (Sample("tub:air", 4.0, "Cel", NOW - 60, silence_s=300.0),)
    states = of_cbor([{-2: "tub:", 0: "door", 4: True}, {0: "tag", 8: b"hi"}, {0: "note", 3: "x"}, {0: "sum", 5: 3.5}])
    assert states == (Sample("tub:door", 1.0, "1"),)
    kept = of_cbor([{0: "air", 1: "Cel", 2: 4.0}, {-6: 5.0}])
    assert kept == (Sample("air", 4.0, "Cel"),)


@pytest.mark.parametrize(
    ("pack", "code"),
    [
        ([{0: "a", 2: "4"}], "senml_type"),
        ([{0: "a", 2: 4.0, 4: True}], "senml_value"),
        ([{0: "a", 2: 4.0, "x_": 1}], "senml_label"),
        ([{-1: 11, 0: "a", 2: 4.0}], "senml_version"),
        ([{0: "-a", 2: 4.0}], "senml_name"),
        ({0: "a", 2: 4.0}, "senml_shape"),
        ([{0: "a", "n": "b", 2: 4.0}], "duplicate_key"),
        ([{0: "a", 2: float("nan")}], "not_finite"),
    ],
)
def test_a_faulty_pack_in_cbor_is_refused_as_in_json(pack: object, code: str) -> None:
    refusal = of_cbor(pack)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code


def test_a_label_of_cbor_that_nobody_knows_is_passed_over() -> None:
    assert of_cbor([{0: "a", 1: "Cel", 2: 4.0, 99: 1, -7: 2}]) == (Sample("a", 4.0, "Cel"),)
    assert of_cbor([{0: "a", 1: "Cel", 2: 4.0, "-2": "b"}]) == (Sample("a", 4.0, "Cel"),)
