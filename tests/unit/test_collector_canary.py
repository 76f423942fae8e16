"""The program's own words on the broker, as the decoder takes them."""

import pytest

from collector.canary import GONE, RUNS, OwnTopics, canary
from collector.message import Message, Refusal, Source, kept_of, own_sources, read_message, senml_payload, source_faults

NOW = 1_800_000_000.0
EVERYTHING = Source("#", "senml")
SOURCES = (*own_sources(OwnTopics()), EVERYTHING)


def test_a_canary_is_read_and_is_no_reading() -> None:
    message = Message("curevigil/canary", canary("0a1b", 7, NOW), NOW + 0.1)
    assert read_message(message, SOURCES) == ()
    assert kept_of(message, SOURCES) == (), "it is kept, without a sample"


def test_no_two_canaries_are_the_same() -> None:
    assert len({canary(sender, n, NOW) for sender in ("a", "b") for n in range(3)}) == 6


@pytest.mark.parametrize(
    "payload",
    [
        senml_payload("coldroom/", [("air", "Cel", 3.25, NOW)]),
        senml_payload("", [("curevigil-canary/a", "1", 1.0, NOW), ("air", "Cel", 3.25, NOW)]),
        canary("a", 1, NOW)[:-1],
        b"",
        b"[]",
    ],
)
def test_what_a_sensor_sends_on_the_canarys_topic_is_refused_and_never_lost_unseen(payload: bytes) -> None:
    found = read_message(Message("curevigil/canary", payload, NOW), SOURCES)
    assert isinstance(found, Refusal) and found.reason


def test_the_status_is_passed_over_by_a_source_that_reads_everything() -> None:
    for word in (RUNS, GONE):
        assert read_message(Message("curevigil/status", word.encode(), NOW), SOURCES) == ()
        assert kept_of(Message("curevigil/status", word.encode(), NOW, retained=True), SOURCES) is None
    found = read_message(Message("curevigil/status", b"4.1", NOW), SOURCES)
    assert isinstance(found, Refusal) and found.code == "not_ours"


def test_without_a_canary_its_topic_is_one_as_any_other() -> None:
    sources = (*own_sources(OwnTopics(canary=None)), EVERYTHING)
    payload = senml_payload("coldroom/", [("air", "Cel", 3.25, NOW)])
    assert len(read_message(Message("curevigil/canary", payload, NOW), sources)) == 1  # type: ignore[arg-type]


def test_no_settings_file_can_name_a_source_of_our_own() -> None:
    assert any("format 'canary'" in fault for fault in source_faults(Source("x", "canary")))
