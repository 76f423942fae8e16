"""Mapped JSON: five common shapes, what becomes of what is missing, and every fault of a mapping with its mend."""

import json
from collections.abc import Mapping as Named
from dataclasses import replace

import cbor2
import pytest

from collector.formats import mapped
from collector.formats.mapping import Mapping, Measurement, faults
from collector.sample import Quality, Refusal, Sample

NOW = 1_800_000_000.0
AT_NOW = "2027-01-15T08:00:00Z"
TOPIC: Named[str, str] = {"device": "gauge7"}
AIR = Measurement("{device}/temperature", "/temperature", unit="Cel")


def outcome(payload: object, *measurements: Measurement, each: str | None = None) -> tuple[Sample, ...] | Refusal:
    mapping = Mapping(measurements, each)
    assert faults(mapping, tuple(TOPIC)) == ()
    return mapped.read(json.dumps(payload).encode(), mapping, TOPIC, NOW)


def taken(payload: object, *measurements: Measurement, each: str | None = None) -> tuple[Sample, ...]:
    samples = outcome(payload, *measurements, each=each)
    assert not isinstance(samples, Refusal), samples
    return samples


def refused(payload: object, *measurements: Measurement, each: str | None = None) -> Refusal:
    refusal = outcome(payload, *measurements, each=each)
    assert isinstance(refusal, Refusal), refusal
    assert refusal.reason.isprintable()
    return refusal


# The five shapes.


def test_shape_a_a_flat_object_without_time() -> None:
    found = taken(
        {"temperature": 4.1, "humidity": 81, "battery": 93, "linkquality": 76},
        AIR,
        Measurement("{device}/humidity", "/humidity", unit="%RH"),
        Measurement("{device}/battery", "/battery", unit="%EL"),
    )
    assert found == (
        Sample("gauge7/temperature", 4.1, "Cel"),
        Sample("gauge7/humidity", 81.0, "%RH"),
        Sample("gauge7/battery", 93.0, "%EL"),
    )


PROBES = Measurement(
    "{device}/{/Id}",
    "/Temperature",
    unit_from="#/TempUnit",
    unit_names=(("C", "Cel"), ("F", "degF")),
    time="#/Time",
    time_format="local",
    zone="Europe/Rome",
)


def test_shape_b_keyed_by_sensor_with_a_local_time_and_a_unit_at_the_top() -> None:
    found = taken(
        {
            "Time": "2020-02-10T16:43:14",
            "DS18B20-1": {"Id": "0300A2790D8B", "Temperature": 24.2},
            "DS18B20-2": {"Id": "0300A2790D8C", "Temperature": None},
            "TempUnit": "C",
        },
        PROBES,
        each="",
    )
    assert found == (Sample("gauge7/0300A2790D8B", 24.2, "Cel", 1_581_349_394.0),)


def test_shape_b_in_fahrenheit_and_with_the_probe_alone() -> None:
    payload = {"Time": "2020-07-10T16:43:14", "DS18B20": {"Id": "03", "Temperature": 41.0}, "TempUnit": "F"}
    assert taken(payload, replace(PROBES, channel="{device}/{/DS18B20/Id}", value="/DS18B20/Temperature")) == (
        Sample("gauge7/03", 5.0, "Cel", 1_594_392_194.0),
    )


def test_shape_c_a_network_server_with_nanoseconds() -> None:
    payload = {
        "end_device_ids": {"device_id": "brine-3"},
        "received_at": "2020-01-15T16:02:11.000000001Z",
        "uplink_message": {
            "f_cnt": 17,
            "session_key_id": "AXE",
            "decoded_payload": {"temperature": 2.5},
            "received_at": "2020-01-15T16:02:10.668892406Z",
        },
    }
    measurement = Measurement(
        "{/end_device_ids/device_id}/temperature",
        "/uplink_message/decoded_payload/temperature",
        unit="Cel",
        time="/uplink_message/received_at",
        time_format="rfc3339",
        sequence="/uplink_message/f_cnt",
        boot="/uplink_message/session_key_id",
    )
    assert taken(payload, measurement) == (
        Sample("brine-3/temperature", 2.5, "Cel", 1_579_104_130.668892, sequence="AXE:17"),
    )


def test_shape_d_another_network_server_whose_count_starts_again() -> None:
    measurement = Measurement(
        "{/deviceInfo/devEui}/temperature",
        "/object/temperature",
        unit="Cel",
        time="/time",
        time_format="rfc3339",
        sequence="/fCnt",
        boot="/devAddr",
    )
    payload = {
        "deduplicationId": "3ac7e3c4-4401-4b8d-9386-a5c902f9202d",
        "time": "2022-07-18T09:34:15.775023242+00:00",
        "deviceInfo": {"devEui": "0101010101010101"},
        "devAddr": "00189440",
        "fCnt": 10,
        "object": {"temperature": 3.0},
    }
    again = {**payload, "devAddr": "01189440"}
    assert taken(payload, measurement) == (
        Sample("0101010101010101/temperature", 3.0, "Cel", 1_658_136_855.775023, sequence="00189440:10"),
    )
    assert taken(again, measurement)[0].sequence == "01189440:10"


def test_shape_e_one_bare_number_or_one_in_quotes() -> None:
    bare = Measurement("{device}/temperature", "", unit="Cel")
    assert taken(4.1, bare) == (Sample("gauge7/temperature", 4.1, "Cel"),)
    assert taken("4.1", replace(bare, numbers_as_text=True)) == (Sample("gauge7/temperature", 4.1, "Cel"),)
    assert refused("4.1", bare).code == "bad_value"
    assert refused("4,1", replace(bare, numbers_as_text=True)).code == "decimal_comma"


# What is there, what is not.


def test_each_goes_through_arrays_and_objects() -> None:
    measurement = Measurement("{device}/{key}", "/c", unit="Cel")
    assert [s.channel for s in taken({"probes": [{"c": 1}, {"c": 2}]}, measurement, each="/probes")] == [
        "gauge7/0",
        "gauge7/1",
    ]
    assert [s.channel for s in taken({"probes": {"p": {"c": 1}, "q": {}}}, measurement, each="/probes")] == ["gauge7/p"]
    assert [s.value for s in taken([1.5, 2.5], replace(measurement, value=""), each="")] == [1.5, 2.5]


def test_each_that_points_at_nothing_or_a_scalar_is_refused() -> None:
    measurement = Measurement("{key}", "/c", unit="Cel")
    assert refused({}, measurement, each="/probes").code == "nothing_found"
    assert refused({"probes": 5}, measurement, each="/probes").code == "bad_each"
    assert refused({"probes": []}, measurement, each="/probes").code == "nothing_found"
    assert refused([{}] * 2001, measurement, each="").code == "too_many"


def test_a_missing_value_is_left_out_and_the_others_are_taken() -> None:
    humidity = Measurement("{device}/humidity", "/humidity", unit="%RH")
    assert [s.channel for s in taken({"humidity": 80}, AIR, humidity)] == ["gauge7/humidity"]


def test_a_missing_or_null_value_refuses_the_message_where_the_mapping_says_so() -> None:
    strict = replace(AIR, missing="error")
    assert refused({"humidity": 80}, strict).code == "value_missing"
    assert refused({"temperature": None}, strict).code == "value_missing"


def test_a_payload_in_which_nothing_stands_is_refused_but_an_unplugged_probe_is_not() -> None:
    assert refused({"state": "online"}, AIR).code == "nothing_found"
    assert taken({"temperature": None}, AIR) == ()


@pytest.mark.parametrize("value", ["4.1", True, [4.1], {"c": 4.1}])
def test_a_value_that_is_no_number_refuses_the_message(value: object) -> None:
    refusal = refused({"temperature": value}, AIR)
    assert refusal.code == "bad_value"
    assert "{device}/temperature" in refusal.reason


@pytest.mark.parametrize(
    ("value", "state"), [("open", 1.0), ("Closed", 0.0), (True, 1.0), (False, 0.0), (1, 1.0), (0, 0.0)]
)
def test_a_contact_may_be_a_word_or_a_boolean(value: object, state: float) -> None:
    assert taken({"door": value}, Measurement("door", "/door", unit="1")) == (Sample("door", state, "1"),)


def test_a_contact_can_be_turned_round_and_an_unknown_word_is_refused() -> None:
    shut = Measurement("door", "/contact", unit="1", scale=-1.0, offset=1.0)
    assert [s.value for s in taken({"contact": True}, shut)] == [0.0]
    assert [s.value for s in taken({"contact": False}, shut)] == [1.0]
    assert refused({"contact": "ajar"}, shut).code == "bad_value"


@pytest.mark.parametrize("unit", ["Kelvin", "", 5, None])
def test_a_unit_that_is_not_known_is_never_guessed(unit: object) -> None:
    assert refused({"t": 4.1, "u": unit}, Measurement("a", "/t", unit_from="/u")).code == "bad_unit"


def test_a_unit_that_is_not_there_refuses_the_message() -> None:
    assert refused({"t": 4.1}, Measurement("a", "/t", unit_from="/u")).code == "bad_unit"
    assert refused({"t": 4.1, "u": "Cel"}, Measurement("a", "/t", unit_from="/u", unit_names=(("C", "Cel"),))).code == (
        "bad_unit"
    )
    assert taken({"t": 277.15, "u": "K"}, Measurement("a", "/t", unit_from="/u")) == (Sample("a", 4.0, "Cel"),)


def test_the_signs_of_a_broken_probe_and_of_an_impossible_range_are_marked_and_kept() -> None:
    ranged = replace(AIR, valid_min=-30.0, valid_max=60.0)
    doubts = [taken({"temperature": v}, ranged)[0].quality for v in (85.0, -127, 61.0, 60.0)]
    fault = Quality.PROBE_FAULT | Quality.OUT_OF_RANGE
    assert doubts == [fault, fault, Quality.OUT_OF_RANGE, Quality.GOOD]
    payload = b'{"temperature": 85.0}'
    kept = mapped.read(payload, Mapping((AIR,)), TOPIC, NOW, fault_values_c=())
    assert kept == (Sample("gauge7/temperature", 85.0, "Cel"),)


def test_a_time_that_is_missing_is_none_and_one_that_cannot_be_read_refuses() -> None:
    timed = replace(AIR, time="/at", time_format="rfc3339")
    assert taken({"temperature": 4, "at": AT_NOW}, timed)[0].device_at == NOW
    assert taken({"temperature": 4}, timed)[0].device_at is None
    assert taken({"temperature": 4, "at": None}, timed)[0].device_at is None
    assert refused({"temperature": 4, "at": "2027-01-15T08:00:00"}, timed).code == "bad_time"
    assert taken({"temperature": 4, "at": 1_800_000_000_250}, replace(timed, time_format="epoch_ms"))[0].device_at == (
        NOW + 0.25
    )


def test_a_leap_second_and_a_repeated_hour_leave_the_clock_in_doubt() -> None:
    local = replace(AIR, time="/at", time_format="local", zone="Europe/Rome")
    assert taken({"temperature": 4, "at": "2026-10-25T02:30:00"}, local)[0].quality == Quality.CLOCK_DOUBT
    timed = replace(AIR, time="/at", time_format="rfc3339")
    assert taken({"temperature": 4, "at": "2016-12-31T23:59:60Z"}, timed)[0].quality == Quality.CLOCK_DOUBT


def test_a_time_in_the_repeated_hour_is_the_one_nearer_to_receipt() -> None:
    local = replace(AIR, time="/at", time_format="local", zone="Europe/Rome")
    payload = b'{"temperature": 4, "at": "2026-10-25T02:30:00"}'
    first, second = 1_792_888_200.0, 1_792_891_800.0
    for instant in (first, second):
        found = mapped.read(payload, Mapping((local,)), TOPIC, instant + 2.0)
        assert found == (Sample("gauge7/temperature", 4.0, "Cel", instant, quality=Quality.CLOCK_DOUBT),)


def test_a_misspelt_pointer_that_nobody_checked_is_refused_and_not_taken_for_a_missing_value() -> None:
    refusal = mapped.read(b'{"temperature": 4}', Mapping((replace(AIR, value="temperature"),)), TOPIC, NOW)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "value_missing"


@pytest.mark.parametrize(
    ("boot", "number", "sequence"),
    [(3, 17, "3:17"), ("a", "17", "a:17"), (0, 0, "0:0"), (None, 17, None), (3, None, None)],
)
def test_a_sequence_is_boot_and_number_or_nothing(boot: object, number: object, sequence: str | None) -> None:
    counted = replace(AIR, sequence="/n", boot="/b")
    assert taken({"temperature": 4, "n": number, "b": boot}, counted)[0].sequence == sequence


@pytest.mark.parametrize("number", [1.5, True, [1], "", "x" * 65, "1\n"])
def test_a_sequence_of_another_kind_is_refused(number: object) -> None:
    counted = replace(AIR, sequence="/n", boot="/b")
    assert refused({"temperature": 4, "n": number, "b": 1}, counted).code == "bad_sequence"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("", "no_name"),
        (" ", "no_name"),
        ("other/room", "no_name"),
        (True, "no_name"),
        (1.5, "no_name"),
        (None, "no_name"),
        ("a\u0000b", "bad_channel"),
        ("x" * 201, "bad_channel"),
    ],
)
def test_a_device_cannot_take_a_name_that_is_none_or_another_ones(name: object, code: str) -> None:
    assert refused({"t": 4, "id": name}, Measurement("rooms/{/id}", "/t", unit="Cel")).code == code


def test_a_value_without_its_name_is_refused_and_not_dropped() -> None:
    assert refused({"t": 4}, Measurement("rooms/{/id}", "/t", unit="Cel")).code == "no_name"


# A mapping with a fault says how to mend it.

FAULTY = [
    (Mapping(()), "no measurement"),
    (Mapping((AIR, replace(AIR, value="/t"))), "two measurements have the channel"),
    (Mapping(tuple(replace(AIR, channel=f"c{i}") for i in range(201))), "at most 200"),
    (Mapping((replace(AIR, channel="{key}"),), each="probes"), "must be empty or begin with /"),
    (Mapping((AIR,), each="/probes"), "every element would become the same channel"),
    (
        Mapping((replace(AIR, channel="{device}/{#/id}"),), each="/probes"),
        "every element would become the same channel",
    ),
    (Mapping((replace(AIR, channel="{key}"),)), "only under `each`"),
    (Mapping((replace(AIR, channel=""),)), "the channel is empty"),
    (Mapping((replace(AIR, channel="{room}/t"),)), "the topic captures no room"),
    (Mapping((replace(AIR, channel="{device/t"),)), "a brace without its partner"),
    (Mapping((replace(AIR, channel="{de vice}"),)), "neither a capture nor a pointer"),
    (Mapping((replace(AIR, channel="{/a~2}"),)), "has a ~"),
    (Mapping((replace(AIR, value="temperature"),)), "value: the pointer 'temperature' must"),
    (Mapping((replace(AIR, unit=None),)), "either `unit`, or `unit_from`"),
    (Mapping((replace(AIR, unit_from="/u"),)), "either `unit`, or `unit_from`"),
    (Mapping((replace(AIR, unit="C"),)), "the unit 'C' is not known: use one of Cel"),
    (Mapping((replace(AIR, unit=None, unit_from="u"),)), "unit_from: the pointer"),
    (Mapping((replace(AIR, unit_names=(("C", "Cel"),)),)), "set `unit_from` too"),
    (
        Mapping((replace(AIR, unit=None, unit_from="/u", unit_names=(("C", "Celsius"),)),)),
        "'Celsius', which is not known",
    ),
    (Mapping((replace(AIR, scale=0.0),)), "other than 0"),
    (Mapping((replace(AIR, scale=float("nan")),)), "scale must be"),
    (Mapping((replace(AIR, offset=float("inf")),)), "offset must be"),
    (Mapping((replace(AIR, time="/at"),)), "`time` and `time_format` belong together"),
    (Mapping((replace(AIR, time_format="epoch_s"),)), "`time` and `time_format` belong together"),
    (Mapping((replace(AIR, time="/at", time_format="iso"),)), "use one of none, rfc3339"),  # type: ignore[arg-type]
    (Mapping((replace(AIR, time="at", time_format="epoch_s"),)), "time: the pointer"),
    (Mapping((replace(AIR, time="/at", time_format="local"),)), "set `zone`, such as"),
    (Mapping((replace(AIR, zone="Mars/Olympus"),)), "no IANA time zone"),
    (Mapping((replace(AIR, sequence="/n"),)), "set `boot`"),
    (Mapping((replace(AIR, boot="/b"),)), "or set neither"),
    (Mapping((replace(AIR, sequence="n", boot="/b"),)), "sequence: the pointer"),
    (Mapping((replace(AIR, valid_min=5.0, valid_max=5.0),)), "is not below"),
    (Mapping((replace(AIR, valid_max=float("nan")),)), "must be finite"),
    (Mapping((replace(AIR, missing="ignore"),)), "use skip or error"),  # type: ignore[arg-type]
    (Mapping((replace(AIR, dedupe=("id",)),)), "dedupe: the pointer 'id' must"),
    (Mapping((replace(AIR, dedupe=("/id",), sequence="/n", boot="/b"),)), "keep one of them"),
    (Mapping((replace(AIR, dedupe=tuple(f"/{i}" for i in range(9))),)), "at most 8 make one key"),
    (Mapping((replace(AIR, dedupe=("/temperature",)),)), "two equal readings are two"),
    (Mapping((replace(AIR, quality="/s"),)), "set `quality_names`"),
    (Mapping((replace(AIR, quality_names=(("ok", "good"),)),)), "set `quality` too"),
    (Mapping((replace(AIR, quality="s", quality_names=(("ok", "good"),)),)), "quality: the pointer 's' must"),
    (Mapping((replace(AIR, quality="/s", quality_names=(("ok", "fine"),)),)), "'ok' is 'fine', which is not known"),
    (Mapping((replace(AIR, quality="/s", quality_names=(("x", "conflict"),)),)), "use one of good, clock_doubt"),
    (
        Mapping((replace(AIR, time="#/at", time_format="epoch_s"),), each="/log"),
        "every element would become the same channel",
    ),
]


@pytest.mark.parametrize(("mapping", "words"), FAULTY, ids=lambda given: given if isinstance(given, str) else "")
def test_a_fault_of_a_mapping_says_what_and_how_to_mend_it(mapping: Mapping, words: str) -> None:
    found = faults(mapping, tuple(TOPIC))
    assert len(found) == 1
    assert words in found[0]


def test_all_faults_are_told_at_once() -> None:
    bad = Measurement("", "t", unit="C", scale=0.0, time="/at", sequence="/n", valid_min=2.0, valid_max=1.0)
    assert len(faults(Mapping((bad,), each="x"))) == 8


def test_a_topic_may_not_capture_the_name_kept_for_elements() -> None:
    assert "call the capture something else" in faults(Mapping((replace(AIR, channel="a"),)), ("key",))[0]


# What makes two readings the same, and what a device says of its own value.

SAME = replace(AIR, dedupe=("#/source", "/id"))


@pytest.mark.parametrize(
    ("payload", "key"),
    [
        ({"source": "lane", "id": "a1"}, "lane/a1"),
        ({"source": "lane", "id": 7}, "lane/7"),
        ({"source": "a/b", "id": "c~d"}, "a~1b/c~0d"),
        ({"source": "a", "id": "b/c~d"}, "a/b~1c~0d"),
        ({"id": "a1"}, None),
        ({"source": None, "id": "a1"}, None),
    ],
)
def test_a_key_is_made_of_all_that_its_pointers_find_or_is_none(payload: dict[str, object], key: str | None) -> None:
    assert taken({"temperature": 4, **payload}, SAME)[0].sequence == key


@pytest.mark.parametrize("part", [1.5, True, [1], {}, "", "x" * 65, "1\n"])
def test_a_key_of_another_kind_is_refused(part: object) -> None:
    assert refused({"temperature": 4, "source": "lane", "id": part}, SAME).code == "bad_key"


def test_two_readings_of_one_message_with_one_key_are_refused_and_equal_ones_are_one() -> None:
    log = replace(AIR, channel="{device}/{/p}", dedupe=("#/id",))
    element = {"p": "tub", "temperature": 4.0}
    clash = refused({"id": "m1", "log": [element, {**element, "temperature": 5.0}]}, log, each="/log")
    assert clash.code == "same_key"
    assert "'gauge7/tub' have the key 'm1'" in clash.reason
    assert len(taken({"id": "m1", "log": [element, element]}, log, each="/log")) == 2
    assert len(taken({"id": "m1", "log": [element, {**element, "p": "air"}]}, log, each="/log")) == 2


def test_a_backlog_of_one_channel_needs_no_name_for_its_elements_where_each_has_a_time() -> None:
    log = replace(AIR, value="/c", time="/t", time_format="epoch_s")
    found = taken({"log": [{"c": 4, "t": NOW - 60}, {"c": 5, "t": NOW}]}, log, each="/log")
    assert [(s.channel, s.device_at) for s in found] == [("gauge7/temperature", NOW - 60), ("gauge7/temperature", NOW)]


TOLD = replace(
    AIR,
    time="/at",
    time_format="epoch_s",
    quality="/status",
    quality_names=(
        ("ok", "good"), ("192", "good"), ("true", "good"), ("E1", "probe_fault"), ("cal", "out_of_range"),
        ("unset", "clock_doubt"),
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("status", "quality"),
    [
        ("ok", Quality.GOOD),
        (192, Quality.GOOD),
        (True, Quality.GOOD),
        ("E1", Quality.PROBE_FAULT),
        ("cal", Quality.OUT_OF_RANGE),
    ],
)
def test_what_a_device_says_of_its_value_is_kept_with_it(status: object, quality: Quality) -> None:
    assert taken({"temperature": 4, "status": status, "at": NOW}, TOLD) == (
        Sample("gauge7/temperature", 4.0, "Cel", NOW, quality=quality),
    )


def test_what_a_device_says_adds_to_what_is_seen_in_the_value() -> None:
    found = taken({"temperature": 85.0, "status": "cal"}, TOLD)[0].quality
    assert found == Quality.PROBE_FAULT | Quality.OUT_OF_RANGE


def test_a_device_that_doubts_its_clock_gives_no_instant() -> None:
    found = taken({"temperature": 4, "status": "unset", "at": NOW}, TOLD)
    assert found == (Sample("gauge7/temperature", 4.0, "Cel", None, quality=Quality.CLOCK_DOUBT),)


@pytest.mark.parametrize("status", ["fine", 0, False, None, 1.5, [], {}, ""])
def test_a_word_about_the_value_that_nobody_explained_is_never_taken_for_good(status: object) -> None:
    refusal = refused({"temperature": 4, "status": status}, TOLD)
    assert refusal.code == "bad_quality"


def test_a_word_that_is_not_there_means_what_the_mapping_says() -> None:
    assert refused({"temperature": 4}, TOLD).code == "bad_quality"
    quiet = replace(TOLD, quality_names=(("", "good"), ("E1", "probe_fault")))
    assert taken({"temperature": 4}, quiet)[0].quality == Quality.GOOD
    assert taken({"temperature": 4, "status": None}, quiet)[0].quality == Quality.GOOD
    assert refused({"temperature": 4, "status": "E2"}, quiet).code == "bad_quality"


# The same in CBOR.


def test_cbor_is_read_by_the_same_pointers_and_whole_numbers_name_their_members() -> None:
    numbered = Measurement("{device}/air", "/1", unit="Cel", time="/0", time_format="epoch_s", dedupe=("/2",))
    payload = cbor2.dumps({0: NOW, 1: 4.5, 2: 17})
    found = mapped.read(payload, Mapping((numbered,)), TOPIC, NOW, encoding="cbor")
    assert found == (Sample("gauge7/air", 4.5, "Cel", NOW, sequence="17"),)


def test_a_byte_string_is_no_value_no_key_and_no_name() -> None:
    for member, code in (("temperature", "bad_value"), ("id", "bad_key"), ("status", "bad_quality")):
        keyed = replace(TOLD, dedupe=("/id",))
        payload = cbor2.dumps({"temperature": 4, "id": 1, "status": "ok", member: b"x"})
        refusal = mapped.read(payload, Mapping((keyed,)), TOPIC, NOW, encoding="cbor")
        assert isinstance(refusal, Refusal)
        assert refusal.code == code
