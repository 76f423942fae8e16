"""The settings file: what is read, what is refused with key, line and mend, and that no secret is ever shown."""

import re
from pathlib import Path

import pytest

from collector.message import PlainNumber, source_faults
from collector.settings import Settings, parse
from collector.toml_faults import Fault

WHOLE = (Path(__file__).resolve().parents[2] / "deploy" / "curevigil.example.toml").read_text(encoding="utf-8")
EXAMPLE, _, REST = WHOLE.partition("# [influx]\n")
INFLUX = REST.partition("\n\n")[0] + "\n"
WITH_INFLUX = EXAMPLE + "[influx]\n" + re.sub("^# ", "", INFLUX, flags=re.MULTILINE)
"""The example with the table that it only shows in comments."""
ENVIRON = {
    "CUREVIGIL_BROKER_PASSWORD": "correct horse",
    "CUREVIGIL_INES_WEBHOOK": "https://hooks.example/a1b2",
    "CUREVIGIL_INES_SIGNING": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "CUREVIGIL_INES_EMAIL": "ines@kitchen.example",
    "CUREVIGIL_INES_PUSH": "json://push.example/a1b2",
    "CUREVIGIL_SMTP_PASSWORD": "correct horse",
    "CUREVIGIL_INFLUX_TOKEN": "curevigil:battery-staple",
}
LEAST = """
[broker]
address = "localhost"
[[source]]
topic = "kitchen/#"
format = "senml"
[stores]
folder = "/var/lib/curevigil"
[web]
public_address = "https://curevigil.example"
"""


def no_file(path: str) -> str:
    raise FileNotFoundError(2, "No such file or directory")


def read(text: str, environ: dict[str, str] | None = None) -> Settings:
    settings = parse(text, ENVIRON if environ is None else environ, no_file)
    assert isinstance(settings, Settings), [str(fault) for fault in settings]
    return settings


def faults(text: str) -> list[Fault]:
    found = parse(text, ENVIRON, no_file)
    assert not isinstance(found, Settings)
    return list(found)


def test_the_example_file_is_read() -> None:
    settings = read(EXAMPLE)
    senml, plain, mapped = settings.message_sources()
    assert (senml.topic_filter, senml.format) == ("smokehouse/#", "senml")
    assert plain.plain == PlainNumber("Cel")
    assert mapped.mapping is not None
    assert [m.channel for m in mapped.mapping.measurements] == ["{device}/{key}/temperature"]
    assert [source_faults(source) for source in settings.message_sources()] == [(), (), ()]
    assert (settings.broker.address, settings.broker.port, settings.broker.protocol) == ("localhost", 1883, "auto")
    assert settings.stores.folder == Path("/var/lib/curevigil")
    assert (settings.web.host, settings.web.port) == ("127.0.0.1", 8443)


def test_every_key_that_the_example_only_shows_in_a_comment_is_a_key() -> None:
    shown = [line.removeprefix("# ") for line in EXAMPLE.splitlines() if line.startswith("# ") and " = " in line]
    assert len(shown) > 10
    wrong = {key: faults(EXAMPLE.replace(f"# {line}", line.replace(key, f"{key}x", 1), 1)) for line in shown
             for key in [line.split(" = ")[0]]}  # fmt: skip
    assert [key for key, found in wrong.items() if found[0].mend != f"did you mean {key}?"] == []
    unfit = ("unit_from", "unit_names", "sequence", "boot", "quality", "valid_min", "valid_max")
    for line in shown:
        if not line.startswith(unfit) and not line.startswith("authority_file"):
            read(EXAMPLE.replace(f"# {line}", line, 1))
    together = EXAMPLE.replace("# quality = ", "quality = ").replace("# quality_names = ", "quality_names = ")
    (measurement,) = read(together).sources[2].measurements
    assert (measurement.quality, measurement.quality_names) == ("/status", {"ok": "good", "E1": "probe_fault"})


def test_what_is_left_out_takes_the_default_that_the_example_shows() -> None:
    settings = read(LEAST)
    assert (settings.broker.port, settings.broker.protocol, settings.broker.client_id) == (1883, "auto", "curevigil")
    assert (settings.broker.tls, settings.broker.username, settings.broker.password) == (False, None, None)
    assert settings.stores.ballast_mib == 64
    assert (settings.web.listen, settings.web.plain_http) == ("127.0.0.1:8443", False)
    assert settings.reach_order() == {}


def test_the_table_for_influxdb_is_read_once_its_comment_signs_are_gone() -> None:
    assert read(WHOLE).influx is None
    influx = read(WITH_INFLUX).influx
    assert influx is not None
    assert (influx.url, influx.bucket, influx.org) == ("http://localhost:8086", "curevigil/readings", "smokehouse")
    assert (influx.keep_days, influx.pages_from) == (0, "local")
    assert influx.token.get_secret_value() == "curevigil:battery-staple"
    assert "battery" not in repr(influx)
    keys = re.findall(r"^# (\w+) = ", INFLUX, re.MULTILINE)
    assert len(keys) == 7
    for key in keys:
        # Before the sign of equality alone: the same word may stand in a comment.
        found = faults(WITH_INFLUX.replace(f"\n{key} = ", f"\n{key}x = "))
        assert f"did you mean {key}?" in [fault.mend for fault in found]


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('"curevigil/readings"', '"curevigil"', "influx bucket"),
        ('"curevigil/readings"', "'curevigil/\"; DROP'", "influx bucket"),
        ('"http://localhost:8086"', '"localhost:8086"', "influx url"),
        ("env:CUREVIGIL_INFLUX_TOKEN", "hunter2", "influx token"),
        ("env:CUREVIGIL_INFLUX_TOKEN", "env:CUREVIGIL_BROKER_PASSWORD", "influx token"),
    ],
)
def test_what_cannot_be_meant_for_influxdb_is_refused_with_its_key(old: str, new: str, key: str) -> None:
    (fault,) = faults(WITH_INFLUX.replace(old, new))
    assert fault.key == key
    assert "hunter2" not in str(fault)
    assert "correct horse" not in str(fault)


def test_people_are_reached_in_the_order_written() -> None:
    settings = read(EXAMPLE)
    assert settings.reach_order() == {"ines": ("webhook", "email", "apprise")}
    way = settings.by_channel()["email"]["ines"]
    assert way.address.get_secret_value() == "ines@kitchen.example"


def test_a_secret_is_resolved_and_stands_in_no_repr() -> None:
    settings = read(EXAMPLE)
    assert settings.broker.password is not None
    assert settings.broker.password.get_secret_value() == "correct horse"
    for text in (repr(settings), str(settings), settings.model_dump_json()):
        assert "correct horse" not in text
        assert "a1b2" not in text


def test_a_secret_in_a_file_is_read_without_its_line_end() -> None:
    text = LEAST.replace('"localhost"', '"localhost"\nusername = "c"\npassword = "file:/run/secrets/broker"')
    settings = parse(text, {}, lambda path: f"{path} says\n")
    assert isinstance(settings, Settings)
    assert settings.broker.password is not None
    assert settings.broker.password.get_secret_value() == "/run/secrets/broker says"


@pytest.mark.parametrize("written", ['"hunter2"', '["hunter2"]', '{ is = "hunter2" }', '"env:"', '"hunter2:x"'])
def test_a_secret_written_into_the_file_is_refused_without_being_shown(written: str) -> None:
    text = EXAMPLE.replace('"env:CUREVIGIL_BROKER_PASSWORD"', written)
    (fault,) = faults(text.replace('"env:CUREVIGIL_INES_WEBHOOK"', '"env:CUREVIGIL_INES_WEBHOOK"'))
    assert fault.what == "a secret is never written here"
    assert "hunter2" not in str(fault)


def test_a_table_in_the_wrong_shape_shows_nothing_of_what_stands_in_it() -> None:
    text = LEAST + '[reach]\nperson = "ines"\nchannel = "webhook"\naddress = "https://hooks.example/a1b2"\n'
    (fault,) = faults(text)
    assert str(fault) == (
        "curevigil.toml line 11: reach: a table is no list; "
        "write a list in square brackets; tables of a list stand under [[two brackets]]"
    )


def test_an_address_that_is_none_is_refused_without_being_shown() -> None:
    found = parse(EXAMPLE, {**ENVIRON, "CUREVIGIL_INES_WEBHOOK": "hunter2"}, no_file)
    assert not isinstance(found, Settings)
    assert [fault.key for fault in found] == ["reach 1 address"]
    assert "hunter2" not in str(found)


def test_all_faults_come_at_once_in_the_order_of_their_lines() -> None:
    text = LEAST.replace('"localhost"', '"localhost"\nport = 70000\nprot = "5"').replace('"senml"', '"xml"')
    found = faults(text.replace('"/var/lib', '"var/lib').replace("[web]", "[wep]"))
    assert [(fault.line, fault.key) for fault in found] == [
        (None, "web"),
        (4, "broker port"),
        (5, "broker prot"),
        (8, "source 1 format"),
        (10, "stores folder"),
        (11, "wep"),
    ]
    assert all(fault.what and fault.mend and fault.file == "curevigil.toml" for fault in found)


def test_a_fault_of_a_measurement_names_the_line_of_its_key() -> None:
    (fault,) = faults(EXAMPLE.replace('"/celsius"', '"celsius"'))
    assert fault.line == next(n for n, line in enumerate(EXAMPLE.splitlines(), 1) if line.startswith("value = "))
    assert fault.what == "the pointer 'celsius' must be empty or begin with /"
