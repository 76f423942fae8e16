"""From a message to samples: which source reads it, which time is believed, what is refused before any payload."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from collector.formats import names
from collector.message import (
    Mapping,
    Measurement,
    Message,
    PlainNumber,
    Quality,
    Refusal,
    Retained,
    Sample,
    Source,
    believed_time,
    kept_of,
    read_message,
    senml_payload,
    source_faults,
    subscription,
)

NOW = 1_800_000_000.0
DAY = 86_400.0
SENML = Source("smokehouse/#", "senml")
GAUGES = Source("gauges/+/temperature", "plain", plain=PlainNumber("Cel"))
KITCHEN = Source(
    "kitchen/{device}/status",
    "mapped",
    mapping=Mapping(
        (Measurement("{device}/{/id}", "/celsius", unit="Cel", time="/at", time_format="epoch_s"),), "/probes"
    ),
)
SOURCES = (SENML, GAUGES, KITCHEN)


def refusal_of(topic: str, payload: bytes = b"4.1", sources: tuple[Source, ...] = SOURCES) -> str:
    refusal = read_message(Message(topic, payload, NOW), sources)
    assert isinstance(refusal, Refusal), refusal
    assert refusal.reason.isprintable()
    return refusal.code


def test_each_format_is_read_by_the_source_of_its_topic() -> None:
    payload = senml_payload("smokehouse/coldroom/", [("air", "Cel", 3.25, NOW)])
    assert read_message(Message("smokehouse/coldroom/air", payload, NOW + 1), SOURCES) == (
        Sample("smokehouse/coldroom/air", 3.25, "Cel", NOW),
    )
    assert read_message(Message("gauges/seven/temperature", b"4.1", NOW), SOURCES) == (
        Sample("gauges/seven/temperature", 4.1, "Cel"),
    )
    probes = b'{"probes":[{"id":"p1","celsius":2,"at":1800000000},{"id":"p2","celsius":3}]}'
    assert read_message(Message("kitchen/gauge7/status", probes, NOW), SOURCES) == (
        Sample("gauge7/p1", 2.0, "Cel", NOW),
        Sample("gauge7/p2", 3.0, "Cel"),
    )


def test_the_first_source_that_takes_the_topic_decides() -> None:
    everything = Source("#", "plain", plain=PlainNumber("Cel", "first"))
    assert read_message(Message("smokehouse/air", b"4", NOW), (everything, SENML)) == (Sample("first", 4.0, "Cel"),)
    assert refusal_of("smokehouse/air", b"4", (SENML, everything)) == "senml_shape"


def test_a_topic_that_no_source_takes_is_refused() -> None:
    assert refusal_of("elsewhere") == "no_source"
    assert refusal_of("gauges/seven/humidity") == "no_source"
    assert refusal_of("smokehouse/air", sources=()) == "no_source"


@pytest.mark.parametrize(
    "topic", ["", "a\x00b", "a\nb", "a\x7fb", "a\x85b", "a\u2028b", "a\ud800b", "a/+/b", "a/#", "x" * 513]
)
def test_a_topic_that_can_be_none_is_refused_before_any_source(topic: str) -> None:
    assert refusal_of(topic, sources=(Source("#", "plain", plain=PlainNumber("Cel", "first")),)) == "bad_topic"


def test_a_retained_message_is_read_like_any_other() -> None:
    message = Message("gauges/seven/temperature", b"4.1", NOW, retained=True)
    assert read_message(message, SOURCES) == (Sample("gauges/seven/temperature", 4.1, "Cel"),)


@pytest.mark.parametrize(("retained", "kept"), [("state", ()), ("ignore", None)])
def test_a_retained_message_gives_no_sample_whatever_it_holds(retained: Retained, kept: tuple[()] | None) -> None:
    source = replace(GAUGES, retained=retained)
    for payload in (b"4.1", b"\xff", b""):
        assert kept_of(Message("gauges/seven/temperature", payload, NOW, retained=True), (source,)) == kept
    live = kept_of(Message("gauges/seven/temperature", b"4.1", NOW), (source,))
    assert live == (Sample("gauges/seven/temperature", 4.1, "Cel"),)


def test_of_a_retained_pack_the_samples_with_a_believed_time_are_readings_where_the_source_says_so() -> None:
    source = replace(SENML, retained="reading")
    records = [("dated", "Cel", 1.0, NOW - DAY), ("now", "Cel", 2.0, None), ("unset", "Cel", 3.0, 946_684_800.0)]
    message = Message("smokehouse/x", senml_payload("smokehouse/", records), NOW, retained=True)
    found = kept_of(message, (source,))
    assert isinstance(found, tuple)
    assert [(s.channel, s.device_at) for s in found] == [("smokehouse/dated", NOW - DAY)]
    refusal = kept_of(replace(message, payload=b"x"), (source,))
    assert isinstance(refusal, Refusal)
    assert kept_of(replace(message, topic="elsewhere"), (source,)) == ()


def test_fault_values_are_the_sources_to_say() -> None:
    message = Message("gauges/kettle/temperature", b"85.0", NOW)
    kettle = Source("gauges/kettle/temperature", "plain", plain=PlainNumber("Cel"), fault_values_c=())
    marked, kept = read_message(message, (GAUGES,)), read_message(message, (kettle,))
    assert not isinstance(marked, Refusal)
    assert not isinstance(kept, Refusal)
    assert marked[0].quality == Quality.PROBE_FAULT
    assert kept[0].quality == Quality.GOOD


def test_a_time_that_cannot_be_believed_marks_the_sample_and_is_kept() -> None:
    payload = senml_payload("smokehouse/", [("late", "Cel", 1.0, NOW - DAY), ("unset", "Cel", 2.0, 946_684_800.0)])
    found = read_message(Message("smokehouse/x", payload, NOW), SOURCES)
    assert not isinstance(found, Refusal)
    assert [(s.channel, s.device_at, s.quality) for s in found] == [
        ("smokehouse/unset", 946_684_800.0, Quality.CLOCK_DOUBT),
        ("smokehouse/late", NOW - DAY, Quality.GOOD),
    ]


# Topic filters: MQTT 3.1.1, section 4.7.


@pytest.mark.parametrize(
    ("pattern", "topic", "taken"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/#", "sport", True),
        ("#", "sport/tennis", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        ("#", "$SYS/broker", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/monitor/Clients", True),
        ("{a}/{b}", "$SYS/broker", False),
        ("a/b", "a/b", True),
        ("a/b", "a/B", False),
        ("a/b", "a/b/", False),
        ("{x}/b/#", "a/b", True),
        ("{x}/b/#", "a", False),
    ],
)
def test_a_filter_takes_what_mqtt_says(pattern: str, topic: str, taken: bool) -> None:
    assert (names.captures(pattern, topic) is not None) is taken


def test_captures_hold_their_level_and_the_underscore_forgets() -> None:
    assert names.captures("{site}/tele/{device}/{_}", "north/tele/gauge7/SENSOR") == {
        "site": "north",
        "device": "gauge7",
    }
    assert subscription(Source("{site}/tele/{device}/{_}", "senml")) == "+/tele/+/+"
    assert subscription(SENML) == "smokehouse/#"


# Which time is believed.


@pytest.mark.parametrize(
    ("device_at", "believed"),
    [
        (None, (NOW, False)),
        (NOW, (NOW, False)),
        (NOW - 0.12349, (NOW - 0.123, False)),
        (NOW + 120.0, (NOW + 120.0, False)),
        (NOW + 120.001, (NOW, True)),
        (NOW - 30 * DAY, (NOW - 30 * DAY, False)),
        (NOW - 30 * DAY - 0.001, (NOW, True)),
        (0.0, (NOW, True)),
        (datetime(2000, 1, 1, tzinfo=UTC).timestamp(), (NOW, True)),
        (datetime(2036, 2, 7, 6, 28, 16, tzinfo=UTC).timestamp(), (NOW, True)),
        (datetime(2038, 1, 19, 3, 14, 7, tzinfo=UTC).timestamp(), (NOW, True)),
        (268_435_456.0, (NOW, True)),
        (float("nan"), (NOW, True)),
        (float("inf"), (NOW, True)),
        (float("-inf"), (NOW, True)),
    ],
)
def test_the_devices_time_stands_where_it_can_be_believed(
    device_at: float | None, believed: tuple[float, bool]
) -> None:
    assert believed_time(device_at, NOW) == believed


def test_the_time_of_receipt_is_kept_to_the_millisecond() -> None:
    assert believed_time(None, NOW + 0.0006) == (NOW + 0.001, False)


def test_no_time_before_2020_is_believed_even_where_our_own_clock_stands_there() -> None:
    before = datetime(2020, 1, 10, tzinfo=UTC).timestamp()
    assert believed_time(before - 10 * DAY, before) == (before, True)
    assert believed_time(before - 5 * DAY, before) == (before - 5 * DAY, False)


# Sources with faults.


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (Source("", "senml"), "the topic is empty"),
        (Source("a/#/b", "senml"), "# must be the last level"),
        (Source("a/b#", "senml"), "# must be the last level"),
        (Source("a/b+", "senml"), "+ must stand alone"),
        (Source("a/x{b}", "senml"), "a capture fills a whole level"),
        (Source("a/{b c}", "senml"), "a capture fills a whole level"),
        (Source("{b}/{b}", "senml"), "captures b twice"),
        (Source("a\n", "senml"), "control character"),
        (Source("a", "xml"), "use senml, mapped or plain"),  # type: ignore[arg-type]
        (Source("a", "mapped"), "format mapped needs its description"),
        (Source("a", "plain"), "format plain needs its description"),
        (Source("a", "senml", plain=PlainNumber("Cel")), "take one of them away"),
        (Source("a", "plain", plain=PlainNumber("C")), "unit 'C' is not known"),
        (Source("a", "mapped", mapping=Mapping(())), "no measurement"),
        (replace(GAUGES, retained="reading"), "so a reading needs the device's own time"),
        (replace(GAUGES, retained="sample"), "use one of state, reading, ignore"),  # type: ignore[arg-type]
        (
            Source("a", "mapped", mapping=Mapping((Measurement("b", "/b", unit="Cel"),)), retained="reading"),
            "set `time` in every measurement",
        ),
        (Source("a/{_}", "plain", plain=PlainNumber("Cel", "{_}")), "the topic captures no _"),
    ],
)
def test_a_fault_of_a_source_says_how_to_mend_it(source: Source, words: str) -> None:
    found = source_faults(source)
    assert len(found) == 1
    assert words in found[0]


@pytest.mark.parametrize("source", SOURCES)
def test_a_source_without_fault_has_none(source: Source) -> None:
    assert source_faults(source) == ()


@pytest.mark.parametrize("source", [Source("a", "mapped"), Source("a", "plain"), Source("a", "xml")])  # type: ignore[arg-type]
def test_a_source_that_was_never_checked_refuses_and_does_not_raise(source: Source) -> None:
    assert refusal_of("a", sources=(source,)) == "bad_source"
