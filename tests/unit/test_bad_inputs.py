"""The table of bad inputs: what was given, and the message that its giver gets. Nothing raises, and nothing changes.

Five kinds: settings, kitchens, payloads of sensors, forms, and commands with the files that they read.
"""

import errno
import json
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pydantic import BaseModel, ValidationError

from api.actions.faults import Result
from api.actions.making import begin_stage, end_batch, start_batch
from api.actions.measuring import enter_hand_reading
from api.actions.placing import move_tub
from api.actions.signing import sign_disposition
from api.cli import main
from api.config_file import law_faults
from api.doing import Refused, do
from api.pages.forms import told
from api.reading_lines import BadLine, read_lines
from api.schemas import BeginStage, EndBatch, EnterHandReading, MoveTub, SignDisposition, StartBatch
from collector.kitchen import Kitchen
from collector.kitchen_changes import changes, future_faults
from collector.kitchen_file import KitchenFile, read_kitchen
from collector.message import Message, Refusal, read_message
from collector.settings import Settings, parse
from tests.office import NOW, made_office

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
SETTINGS_TEXT = (DEPLOY / "curevigil.example.toml").read_text(encoding="utf-8")
KITCHEN_TEXT = (DEPLOY / "kitchen.example.toml").read_text(encoding="utf-8")
ENVIRON = {
    "CUREVIGIL_BROKER_PASSWORD": "correct horse",
    "CUREVIGIL_INES_WEBHOOK": "https://hooks.example/a1b2",
    "CUREVIGIL_INES_SIGNING": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "CUREVIGIL_INES_EMAIL": "ines@kitchen.example",
    "CUREVIGIL_INES_PUSH": "json://push.example/a1b2",
    "CUREVIGIL_SMTP_PASSWORD": "correct horse",
    "EMPTY": "",
    "NO_ADDRESS": "hunter2",
}
LATER = 1_800_000_000.0
"""2027-01-15: what the example kitchen tells lies in the past."""
Edits = Sequence[tuple[str, str]]
Row = tuple[str, Edits, Sequence[str]]


def edited(text: str, edits: Edits) -> str:
    for before, after in edits:
        assert before in text, before
        text = text.replace(before, after, 1)
    return text


def no_file(path: str) -> str:
    raise FileNotFoundError(errno.ENOENT, "No such file or directory")


def names(rows: Sequence[tuple[Any, ...]]) -> list[str]:
    return [row[0] for row in rows]


SETTINGS: list[Row] = [
    ("an unknown table", [("[web]", "[wep]")],
     [": web: it is missing; add it: a table [web] with the public address",
         "line 61: wep: there is no such key here; did you mean web?"]),
    ("a port in quotes", [("port = 1883", 'port = "1883"')],
     ["line 8: broker port: '1883' is no whole number; write a whole number, without quotes"]),
    ("a port that is none", [("port = 1883", "port = 70000")],
     ["line 8: broker port: 70000 is not below 65536; look at the figure and its unit"]),
    ("an unknown protocol", [('protocol = "auto"', 'protocol = "4"')],
     ["line 9: broker protocol: '4' is not known; use one of: auto, 5, 3.1.1"]),
    ("an address with a scheme", [('address = "localhost"', 'address = "mqtt://localhost"')],
     ["line 7: broker address: 'mqtt://localhost' is no host name; write the name or address "
         "alone; port and tls are keys of their own"]),
    ("an address with a port", [('address = "localhost"', 'address = "localhost:1883"')],
     ["line 7: broker address: 'localhost:1883' is no host name; write the name or address alone; "
         "port and tls are keys of their own"]),
    ("no address", [('address = "localhost" ', "# ")],
     ["line 6: broker address: it is missing; add it: the host name or address of the MQTT broker"]),
    ("an empty client id", [('client_id = "curevigil"', 'client_id = ""')],
     ["line 10: broker client_id: it is empty; write what it is, or leave the key out"]),
    ("a password in the file", [('"env:CUREVIGIL_BROKER_PASSWORD"', '"hunter2"')],
     ['line 12: broker password: a secret is never written here; write "env:NAME" or "file:PATH", '
         "where it is to be found"]),
    ("a password nobody set", [('"env:CUREVIGIL_BROKER_PASSWORD"', '"env:NOBODY_SET_THIS"')],
     ["line 12: broker password: the environment has no NOBODY_SET_THIS; set NOBODY_SET_THIS for "
         "the service, or name another one"]),
    ("a password file that is not there", [('"env:CUREVIGIL_BROKER_PASSWORD"', '"file:/run/secrets/none"')],
     ["line 12: broker password: the file /run/secrets/none cannot be read: No such file or "
         "directory; name a file with the secret alone in it"]),
    ("an empty password", [('"env:CUREVIGIL_BROKER_PASSWORD"', '"env:EMPTY"')],
     ["line 12: broker password: EMPTY is empty; put the secret there"]),
    ("a password without a name", [('username = "collector"', "# ")],
     ["line 12: broker password: a password goes with a name; add username, or leave the password out"]),
    ("an authority without tls", [("# authority_file", "authority_file")],
     ["line 14: broker authority_file: it has a meaning only with tls; set tls = true, or leave "
         "authority_file out"]),
    ("tls in quotes", [("tls = false", 'tls = "no"')],
     ["line 13: broker tls: 'no' is neither true nor false; write true or false, without quotes"]),
    ("a misspelt key", [("client_id =", "client-id =")],
     ["line 10: broker client-id: there is no such key here; did you mean client_id?"]),
    ("an unknown format", [('format = "senml"', 'format = "xml"')],
     ["line 19: source 1 format: 'xml' is not known; use one of: senml, plain, mapped"]),
    ("a filter with # inside", [('"smokehouse/#"', '"smokehouse/#/air"')],
     ["line 18: source 1 topic: the topic 'smokehouse/#/air': # must be the last level and stand alone in it"]),
    ("the same topics twice", [('"gauges/{device}/temperature"', '"smokehouse/#"')],
     ["line 24: source 2 topic: source 1 takes these topics already, and the first one decides; "
         "join the two, or make one topic narrower"]),
    ("a plain number without a unit", [('unit = "Cel"                     # unit the', "# ")],
     ["line 23: source 2 unit: a plain number has no unit of its own; say which unit the numbers "
         'are in, such as "Cel"']),
    ("an unknown unit", [('unit = "Cel"                     # unit the', 'unit = "Grad" # ')],
     ["line 26: source 2 unit: unit 'Grad' is not known: use one of Cel, %RH, kg, V, %EL, 1, K, g, "
         "/, F, degF, °F"]),
    ("a unit for SenML", [('format = "senml" ', 'format = "senml"\nunit = "Cel" ')],
     ["line 20: source 1 unit: it has no meaning with the format senml; leave it out, or set format = 'plain'"]),
    ("a pointer that is none", [('"/celsius"', '"celsius"')],
     ["line 38: source 3 measurement 1 value: the pointer 'celsius' must be empty or begin with /"]),
    ("a time without its format", [('time_format = "rfc3339" ', "# ")],
     ["line 44: source 3 measurement 1 time: `time` and `time_format` belong together: set both, or neither"]),
    ("a capture the topic lacks", [('"{device}/{key}/temperature"', '"{gauge}/{key}/temperature"')],
     ["line 37: source 3 measurement 1 channel: the topic captures no gauge: write {gauge} into the topic, "
         "or take it out of the channel"]),
    ("a word for retained that is none", [('retained = "state"', 'retained = "sample"')],
     ["line 21: source 1 retained: 'sample' is not known; use one of: state, reading, ignore"]),
    ("a retained reading without a time", [('decimal_comma = false', 'retained = "reading"\ndecimal_comma = false')],
     ["line 28: source 2 retained: the broker says not since when it keeps a message, so a reading needs the device's "
         "own time: set `time` in every measurement, or use state or ignore"]),
    ("an encoding that is none", [('# encoding = "cbor"', 'encoding = "xml" ')],
     ["line 20: source 1 encoding: 'xml' is not known; use one of: json, cbor"]),
    ("a plain number in CBOR", [('decimal_comma = false', 'encoding = "cbor"\ndecimal_comma = false')],
     ["line 28: source 2 encoding: a plain number is text; leave it out, or use mapped with the pointer \"\" to the "
         "value"]),
    ("a key in quotes alone", [('# dedupe = ["/id"] ', 'dedupe = "/id" ')],
     ["line 49: source 3 measurement 1 dedupe: '/id' is no list; write a list in square brackets; "
         "tables of a list stand under [[two brackets]]"]),
    ("a key that is no pointer", [('# dedupe = ["/id"] ', 'dedupe = ["id"] ')],
     ["line 49: source 3 measurement 1 dedupe: the pointer 'id' must be empty or begin with /"]),
    ("a key and a sequence", [('# dedupe = ["/id"] ', 'dedupe = ["/id"]\nsequence = "/n"\nboot = "/b" ')],
     ["line 49: source 3 measurement 1 dedupe: `dedupe` and `sequence` both say which readings are the same: keep one "
         "of them"]),
    ("a sequence that starts again unseen", [('# sequence = "/n" ', 'sequence = "/n" ')],
     ["line 47: source 3 measurement 1 sequence: `sequence` starts again with each boot: set `boot` to what tells them "
         "apart, or set neither"]),
    ("a word about the value that means nothing", [('# quality = "/status" ', 'quality = "/status" ')],
     ["line 50: source 3 measurement 1 quality: quality finds a word that means nothing by itself: set "
         '`quality_names`, such as { "ok" = "good" }']),
    ("a quality that is not ours", [('# quality = "/status" ', 'quality = "/status" '),
                                    ('# quality_names = { "ok" = "good"', 'quality_names = { "ok" = "fine"')],
     ["line 51: source 3 measurement 1 quality_names: quality_names says 'ok' is 'fine', which is not known: use "
         "one of good, clock_doubt, probe_fault, out_of_range"]),
    ("a bad unit in a table", [('# unit_from = "/unit" ', 'unit_from = "/unit" ')],
     ["line 39: source 3 measurement 1 unit: give either `unit`, or `unit_from` as a pointer to it"]),
    ("a range the wrong way round", [("# valid_min = -40.0 ", "valid_min = 70.0 "),
                                      ("# valid_max = 60.0", "valid_max = 60.0")],
     ["line 52: source 3 measurement 1 valid_min: valid_min 70.0 is not below valid_max 60.0: swap or mend them"]),
    ("a relative folder", [('"/var/lib/curevigil"', '"data"')],
     ["line 58: stores folder: 'data' depends on where the program is started; write the whole path, from / on"]),
    ("a negative ballast", [("ballast_mib = 64", "ballast_mib = -1")],
     ["line 59: stores ballast_mib: -1 is below 0; look at the figure and its unit"]),
    ("a place to listen that is none", [('"127.0.0.1:8443"', '"8443"')],
     ["line 62: web listen: '8443' is no address to listen at; write it as \"127.0.0.1:8443\": an "
         "address and a port"]),
    ("sign-in over a plain line", [('"https://curevigil.example"', '"http://curevigil.example"')],
     ["line 63: web public_address: people would sign in over an unencrypted line; write https://, "
         "or set plain_http = true on a closed network"]),
    ("an address for people that is none", [('"https://curevigil.example"', '"curevigil.example"')],
     ["line 63: web public_address: 'curevigil.example' is no web address; write what people type, "
         'such as "https://curevigil.example"']),
    ("an unknown way to reach people", [('channel = "webhook" ', 'channel = "pager" ')],
     ["line 69: reach 1 channel: 'pager' is not known; use one of: webhook, email, apprise"]),
    ("a webhook that is no address", [('"env:CUREVIGIL_INES_WEBHOOK"', '"env:NO_ADDRESS"')],
     ["line 70: reach 1 address: what stands there is no web address; put one there that begins "
         "with https:// or http://"]),
    ("a signing secret that is none", [('"env:CUREVIGIL_INES_SIGNING"', '"env:CUREVIGIL_INES_WEBHOOK"')],
     ["line 71: reach 1 secrets 1: what stands there is no signing secret; put whsec_ and the Base64 of "
         "24 to 64 random bytes there"]),
    ("a mailbox that is none", [('"env:CUREVIGIL_INES_EMAIL"', '"env:CUREVIGIL_INES_WEBHOOK"')],
     ["line 77: reach 2 address: what stands there is no e-mail address; put one address there, and "
         "nothing else"]),
    ("the same way twice", [('channel = "email" ', 'channel = "webhook" '),
                            ('"env:CUREVIGIL_INES_EMAIL"', '"env:CUREVIGIL_INES_WEBHOOK"')],
     ["line 77: reach 2 address: ines is reached by webhook at this address already; keep one of the two"]),
    ("a mail password in the clear", [('security = "starttls"', 'security = "plain"')],
     ["line 87: smtp security: the password would travel unencrypted; set security = "
         '"starttls" or "tls"']),
    ("a sender with two headers", [('"curevigil@kitchen.example"', '"a@b.example\\nBcc: c@d.example"')],
     ['line 88: smtp sender: this is no e-mail address; write the address alone, such as "curevigil@example.org"']),
    ("a name without its password", [('password = "env:CUREVIGIL_SMTP_PASSWORD"', "# ")],
     ["line 89: smtp username: a password and a name go together; write both, or neither"]),
    ("a status on every topic", [('"curevigil/status"', '"curevigil/#"')],
     ["line 95: status topic: 'curevigil/#' is no topic to write on; write it as \"curevigil/status\""]),
    ("a canary where the status stands", [('"curevigil/canary"', '"curevigil/status"')],
     ["line 97: status canary_topic: the status would overwrite itself there; give each a topic of its own"]),
    ("a heartbeat to no address", [("# [heartbeat]", "[heartbeat]"),
                                   ('# url = "env:CUREVIGIL_HEARTBEAT_URL"', 'url = "env:NO_ADDRESS"')],
     ["line 132: heartbeat url: what stands there is no web address; put one there that begins with https:// or "
         "http://"]),
    ("a heartbeat that hammers", [("# [heartbeat]", "[heartbeat]"), ("# every_s = 60", "every_s = 1"),
                                  ('# url = "env:CUREVIGIL_HEARTBEAT_URL"', 'url = "env:CUREVIGIL_INES_WEBHOOK"')],
     ["line 133: heartbeat every_s: 1 is below 10; look at the figure and its unit"]),
    ("a heartbeat that nothing could open", [("# [heartbeat]", "[heartbeat]"), ("canary = true", "canary = false"),
                                  ('# url = "env:CUREVIGIL_HEARTBEAT_URL"', 'url = "env:CUREVIGIL_INES_WEBHOOK"')],
     ["line 96: status canary: without a canary nothing shows that readings arrive, and it would never beat; set "
         "canary = true, or leave [heartbeat] out"]),
    ("a lamp for no unit", [('"curevigil/{site}/{unit}/alarm"', '"curevigil/lamp"')],
     ['line 101: lamp topic: this is no topic for each unit; write it as "curevigil/{site}/{unit}/alarm"']),
    ("a lamp that would be read", [('"curevigil/{site}', '"smokehouse/{site}')],
     ["line 101: lamp topic: a source reads these topics, and would take the lamp's words for "
         "readings; name another topic, or make the source's narrower"]),
    ("a text without its end", [('"smokehouse/#"', '"smokehouse/#')],
     ["line 18: file: this is no TOML from column 52 on (illegal character '\\n'); texts stand in "
         "quotes, times carry an offset, and a key stands once in its table"]),
    ("a key twice", [("port = 1883", "port = 1883\nport = 1884")],
     ["line 9: file: this is no TOML from column 12 on (cannot overwrite a value); texts stand in "
         "quotes, times carry an offset, and a key stands once in its table"]),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "said"), [row[1:] for row in SETTINGS], ids=names(SETTINGS))
def test_bad_settings_are_refused_with_line_key_and_mend(edits: Edits, said: Sequence[str]) -> None:
    found = parse(edited(SETTINGS_TEXT, edits), ENVIRON, no_file)
    assert not isinstance(found, Settings)
    assert [str(fault).removeprefix("curevigil.toml").lstrip() for fault in found] == list(said)
    assert not re.search("hunter2|correct horse|a1b2", repr(found))


KITCHENS: list[Row] = [
    ("no time zone of this world", [('"Europe/London"', '"Europe/Londinium"')],
     ["line 9: site zone: 'Europe/Londinium' is no IANA time zone; write one such as Europe/London"]),
    ("an unknown authority", [('authority = "US"', 'authority = "FR"')],
     ["line 10: site authority: 'FR' is not known; use one of: US, GB, EU"]),
    ("a time of day that is none", [('["07:00", "15:00"]', '["7am"]')],
     ["line 12: site checks: '7am' is no time of day; write it as \"07:00\""]),
    ("checks out of order", [('["07:00", "15:00"]', '["15:00", "07:00"]')],
     ["line 12: site checks: the checks of a day stand in no order; name at least one, each once, "
         "the earliest first"]),
    ("an id with a space", [('id = "coldroom" ', 'id = "cold room" ')],
     ["line 15: unit 1 id: 'cold room' is no id; use letters, digits, dots, - and _, and begin "
         "with a letter or digit"]),
    ("an unknown kind of unit", [('kind = "cold room"', 'kind = "cellar"')],
     ["line 17: unit 1 kind: 'cellar' is not known; use one of: cold room, fridge, chamber"]),
    ("a limit in Fahrenheit", [("limit_c = 4.5", "limit_c = 81")],
     ["line 18: unit 1 limit_c: 81 is above 60; look at the figure and its unit"]),
    ("a limit that is no number", [("limit_c = 4.5", "limit_c = nan")],
     ["line 18: unit 1 limit_c: nan is no finite number; write a number, or leave the key out"]),
    ("air colder outside than in", [("ambient_c = 25.0", "ambient_c = 0.5")],
     ["line 20: unit 1 coldest_air_c: the coldest air (1 °C) is not below the warmest around it; "
         "ambient_c is 0.5: mend one"]),
    ("an unknown quantity", [('quantity = "air_temperature" ', 'quantity = "temperature" ')],
     ["line 29: channel 1 quantity: 'temperature' is not known; use one of: air_temperature, "
         "product_temperature, brine_temperature, humidity, door, battery, mass"]),
    ("a channel with a space at its end", [('"smokehouse/coldroom/air"', '"smokehouse/coldroom/air "')],
     ["line 28: channel 1 channel: the channel name 'smokehouse/coldroom/air ' is empty or begins "
         "or ends with a space; write it as it is sent"]),
    ("a time without an offset", [("from = 2026-11-01T00:00:00+00:00", "from = 2026-11-01T00:00:00")],
     ["line 32: channel 1 from: 2026-11-01T00:00:00 names no offset; add Z for UTC, or an offset such as +01:00"]),
    ("a date alone", [("from = 2026-11-01T00:00:00+00:00", "from = 2026-11-01")],
     ["line 32: channel 1 from: 2026-11-01 is only part of a time; write date, time and offset: "
         "2026-11-01T07:00:00Z"]),
    ("a time in quotes", [("from = 2026-11-01T00:00:00+00:00", 'from = "2026-11-01T00:00:00Z"')],
     ["line 32: channel 1 from: '2026-11-01T00:00:00Z' is a text; write the time without quotes"]),
    ("a time as a number", [("from = 2026-11-01T00:00:00+00:00", "from = 1793491200")],
     ["line 32: channel 1 from: 1793491200 is no time; write date, time and offset: 2026-11-01T07:00:00Z"]),
    ("a year of another century", [("started = 2026", "started = 1926")],
     ["line 69: batch 1 started: 1926-11-20T10:30:00+00:00 is in no year of ours; look at the year"]),
    ("a channel that ends before it begins", [("# until = 2027", "until = 2025")],
     ["line 33: channel 1 until: it ends before it begins; write the later time here"]),
    ("an interval of nothing", [("interval_s = 60", "interval_s = 0")],
     ["line 34: channel 1 interval_s: 0 is below 1; look at the figure and its unit"]),
    ("a lot without its tub", [("# lot = ", "lot = ")],
     ["line 37: channel 1 lot: a probe stands in one tub of one batch; name lot and tub, or neither"]),
    ("an unknown role", [('["operator"]', '["cook"]')],
     ["line 48: person 2 roles 1: 'cook' is not known; use one of: operator, approver, admin"]),
    ("no role", [('["operator"]', "[]")],
     ["line 48: person 2 roles: the roles are none, or one stands twice; name at least one of "
         "operator, approver, admin, each once"]),
    ("a person called as the program", [
            ('id = "tomas"', 'id = "rules"'),
            ('person = "tomas" ', 'person = "rules" '),
            ('person = "tomas" ', 'person = "rules" '),
        ],
     ["line 46: person 2 id: rules is what the program signs as; choose another id"]),
    ("two people with one id", [('id = "tomas"', 'id = "Ines"'), ('person = "tomas" ', 'person = "ines" ')],
     ["line 46: person 2 id: Ines is taken by person 1; give each person its own id",
         "line 55: rota 2 person: ines stands on the rota twice at the same hours; keep one, or part their hours"]),
    ("a rota out of order", [("after_minutes = 0", "after_minutes = 15")],
     ["line 56: rota 2 after_minutes: this step comes before the one above it; write the rota in "
         "the order of its minutes"]),
    ("an unknown meat", [('meat = "beef"', 'meat = "ham"')],
     ["line 76: batch 1 plan meat: 'ham' is not known; use one of: pork, beef, lamb, poultry, game, offal"]),
    ("an unknown method", [('method = "immersion"', 'method = "wet"')],
     ["line 78: batch 1 plan method: 'wet' is not known; use one of: immersion, injected then "
         "immersed, dry by weight of meat, dry in excess"]),
    ("a cure of no length", [("cure_days = 5.0", "cure_days = 0")],
     ["line 81: batch 1 plan cure_days: 0 is below 0.05; look at the figure and its unit"]),
    ("meat of no weight", [("meat_kg = 2.04", "meat_kg = 0")],
     ["line 121: batch 1 as_made meat_kg: 0 is not above 0; look at the figure and its unit"]),
    ("grams for kilograms", [("salt_kg = 0.2 ", "salt_kg = 20000 ")],
     ["line 88: batch 1 plan salt_kg: 20000 is above 2000; look at the figure and its unit"]),
    ("an end without a reason", [("# ended = 2026-11-25", "ended = 2026-11-22")],
     ["line 67: batch 1 ended_reason: an end has a time and a reason; add ended_reason, or leave both out"]),
    ("a hole between two placements", [("until = 2026-11-22T09:00", "until = 2026-11-22T08:00")],
     ["line 149: batch 1 placement 2 from: tub 1: one placement must end exactly where the next "
         "begins; write until as the next one's from, to the second"]),
    ("out on the bench in air unknown", [("bench_c = 22.0", "# ")],
     ["line 146: batch 1 placement 2: tub 1: out of a unit without an air temperature; enter what "
         "the air was there"]),
    ("in a unit and out of it", [("bench_c = 22.0", 'bench_c = 22.0\nunit = "coldroom"')],
     ["line 148: batch 1 placement 2 bench_c: tub 1 cannot be in a unit and out of it; keep one"]),
    ("in place before it was filled", [("from = 2026-11-20T10:30:00+00:00", "from = 2026-11-19T10:30:00+00:00")],
     ["line 143: batch 1 placement 1 from: tub 1 stood there before the batch was started; begin "
         "at `started`, or mend that"]),
    ("a hand reading of another world", [("value = 3.4", "value = 340")],
     ["line 160: batch 1 hand_reading 1 value: 340 °C is outside -30 to 120 °C; look at the "
         "decimal point and the measure"]),
    ("a hand reading in no tub of the batch", [('tub = "1"\nperson', 'tub = "7"\nperson')],
     ["line 164: batch 1 hand_reading 1 tub: the batch has no tub 7; use one of: 1"]),
    ("an unknown place of the probe", [('where = "brine"', 'where = "soup"')],
     ["line 161: batch 1 hand_reading 1 where: 'soup' is not known; use one of: brine, core, surface, air"]),
    ("a table for a list of them", [("[[unit]]", "[unit]")],
     ["line 14: unit: a table is no list; write a list in square brackets; tables of a list stand "
         "under [[two brackets]]"]),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "said"), [row[1:] for row in KITCHENS], ids=names(KITCHENS))
def test_a_bad_kitchen_is_refused_with_line_key_and_mend(edits: Edits, said: Sequence[str]) -> None:
    found = read_kitchen(edited(KITCHEN_TEXT, edits))
    assert not isinstance(found, KitchenFile)
    assert [str(fault).removeprefix("kitchen.toml").lstrip() for fault in found] == list(said)


AT_ODDS: list[Row] = [
    ("a limit looser than the law", [("limit_c = 4.5", "limit_c = 7.0")],
     ["line 18: unit 1 limit_c: 7 °C is looser than the rulebook's 5.0 °C; a unit's own limit is "
         "stricter: write a lower one, or leave it out"]),
    ("a row that no rulebook has", [("rows = []", 'rows = ["cold.limits"]')],
     ["line 63: confirmed 1 rows 1: US has no row cold.limits; `curevigil rulebook show US` lists them"]),
    ("an unknown rulebook", [('rulebook = "US"', 'rulebook = "XX"')],
     ["line 62: confirmed 1 rulebook: there is no rulebook XX; use one of: EU, GB, US"]),
    ("an unknown unit", [('unit = "coldroom" ', 'unit = "coolroom" ')],
     ["line 30: channel 1 unit: no unit is called coolroom; use one of: coldroom; or describe it under [[unit]]"]),
    ("an unknown person on the rota", [('person = "tomas" ', 'person = "thomas" ')],
     ["line 51: rota 1 person: nobody has the id thomas; use one of: ines, tomas; or describe them "
         "under [[person]]"]),
    ("a probe in an unknown lot", [('# lot = "BRISKET-14" ', 'lot = "BRISKET-15" '), ('# tub = "1" ', 'tub = "1" ')],
     ["line 37: channel 1 lot: no batch has the lot code BRISKET-15; use one of: BRISKET-14; or "
         "leave lot and tub out"]),
    ("a probe in an unknown tub", [('# lot = "BRISKET-14" ', 'lot = "BRISKET-14" '), ('# tub = "1" ', 'tub = "2" ')],
     ["line 38: channel 1 tub: BRISKET-14 has no tub 2; use one of: 1"]),
    ("rows confirmed by no approver", [('person = "ines"                  # an', 'person = "tomas" # an')],
     ["line 65: confirmed 1 person: tomas is no approver; an approver compares rows with their document"]),
    ("an own limit that no rulebook has", [('"excursion.hold" ', '"excursion.holds" ')],
     ["line 168: own_limit 1 limit: US has no limit excursion.holds; `curevigil rulebook show US` lists them"]),
    ("an own limit without a reason", [("value = 3.0 ", "value = 9.0 "), ("our own plan says three hours", "so")],
     ["line 170: own_limit 1 reason: this reason is too short to stand up next year; say why a looser limit is "
         "enough here"]),
    ("an own limit looser for nitrite", [('"excursion.hold" ', '"nitrite.dry" '), ("value = 3.0 ", "value = 700.0 ")],
     ["line 169: own_limit 1 value: nitrite.dry bounds nitrite: it is never looser than 625 ppm NaNO2; write a "
         "stricter one"]),
    ("an own limit by no approver", [('person = "ines"                  # the', 'person = "tomas" # the')],
     ["line 171: own_limit 1 person: tomas is no approver; an approver sets the site's own limits"]),
    ("a unit looser than the own limit", [('"excursion.hold" ', '"cold.limit" ')],
     ["line 18: unit 1 limit_c: 4.5 °C is looser than the rulebook's 3.0 °C; a unit's own limit is stricter: write a "
         "lower one, or leave it out"]),
    ("a batch of tomorrow", [
            ("started = 2026", "started = 2096"),
            ("from = 2026-11-20", "from = 2096-11-20"),
            ("until = 2026-11-22T09:00", "until = 2096-11-22T09:00"),
            ("from = 2026-11-22T09:00", "from = 2096-11-22T09:00"),
            ("until = 2026-11-22T09:40", "until = 2096-11-22T09:40"),
            ("from = 2026-11-22T09:40", "from = 2096-11-22T09:40"),
            ("at = 2026-11-22", "at = 2096-11-22"),
        ],
     ["line 69: batch 1 started: this time has not come yet; bring it in when it has come",
         "line 158: batch 1 hand_reading 1 at: this time has not come yet; enter what was measured, "
         "not what will be"]),
]  # fmt: skip
"""Kitchens that say nothing wrong of themselves, and do not fit the rulebook, the day, or what they name."""


@pytest.mark.parametrize(("edits", "said"), [row[1:] for row in AT_ODDS], ids=names(AT_ODDS))
def test_a_kitchen_at_odds_with_the_world_is_refused_whole(edits: Edits, said: Sequence[str]) -> None:
    described = read_kitchen(edited(KITCHEN_TEXT, edits))
    assert isinstance(described, KitchenFile), described
    changed = changes(Kitchen(), described, LATER)
    found = law_faults(described) or changed.faults or future_faults(described, LATER)
    assert [str(fault).removeprefix("kitchen.toml").lstrip() for fault in found] == list(said)
    assert not (changed.faults and changed.drafts)


S, P, M = "smokehouse/coldroom/air", "gauges/g1/temperature", "kitchen/k1/status"
PAYLOADS: list[tuple[str, str, bytes, str]] = [
    ("nothing", S, b"",
     "empty: the payload is empty; nothing was measured"),
    ("no JSON", S, b"4.1 degrees",
     "not_json: not JSON: Extra data at character 4; send JSON as in RFC 8259"),
    ("half a pack", S, b'[{"n":"air","v":',
     "not_json: not JSON: Expecting value at character 16; send JSON as in RFC 8259"),
    ("no UTF-8", S, b"\xff\xfe",
     "not_utf8: byte 0 is not UTF-8; send UTF-8 text"),
    ("not a number", S, b'[{"n":"air","u":"Cel","v":NaN}]',
     "not_finite: NaN is no number in JSON; leave the value out or send null"),
    ("a name twice", S, b'[{"n":"air","u":"Cel","v":1,"v":2}]',
     "duplicate_key: the name 'v' stands twice in one object; send it once"),
    ("a value in quotes", S, b'[{"n":"air","u":"Cel","v":"4.1"}]',
     "senml_type: record 1: v must be a number"),
    ("a pack without a name", S, b'[{"u":"Cel","v":4.1}]',
     "senml_name: record 1: the name '' must begin with a letter or digit and hold only A-Z a-z 0-9 - : . / _"),
    ("an empty pack", S, b"[]",
     "senml_shape: a SenML pack is an array of at least one record"),
    ("an object for a pack", S, b'{"n":"air","v":4.1}',
     "senml_shape: a SenML pack is an array of at least one record"),
    ("a newer SenML", S, b'[{"bver":99,"n":"air","u":"Cel","v":4.1}]',
     "senml_version: record 1: bver 99; packs up to version 10 are read"),
    ("nesting without end", S, b"[" * 40 + b"]" * 40,
     "too_deep: arrays and objects stand deeper than 32 levels in each other; send it flatter"),
    ("words for a number", P, b"cold",
     "not_a_number: 'cold' is no single number; send digits with a point, and no unit"),
    ("two numbers", P, b"4.1 4.2",
     "not_a_number: '4.1 4.2' is no single number; send digits with a point, and no unit"),
    ("a decimal comma", P, b"4,1",
     "decimal_comma: '4,1' has a comma; set decimal_comma where it marks the decimals"),
    ("a long number", P, b"4" * 80,
     "too_large: 80 bytes where one number has at most 64; send it alone"),
    ("not finite", P, b"inf",
     "not_finite: 'inf' is no measurement; send nothing instead"),
    ("a mapped payload that is a number", M, b"4.1",
     "nothing_found: each: nothing stands at '/probes' (looked for 'probes'); compare the pointer with the payload"),
    ("no probes", M, b'{"temperature": 4.1}',
     "nothing_found: each: nothing stands at '/probes' (looked for 'probes'); compare the pointer with the payload"),
    ("a probe's value in quotes", M, b'{"probes":[{"celsius":"4.1"}]}',
     "bad_value: measurement '{device}/{key}/temperature': a text stands at '/celsius'; set "
     "numbers_as_text if it is a number in quotes"),
    ("a time that is none", M, b'{"probes":[{"celsius":4.1,"at":"noon"}]}',
     "bad_time: measurement '{device}/{key}/temperature': the time 'noon' cannot be read: write "
     "it as in RFC 3339, such as 2026-01-31T23:59:59Z"),
    ("a topic nobody reads", "cellar/x", b"4.1",
     "no_source: no source takes this topic; add one to the settings, or stop publishing to it"),
]  # fmt: skip


@pytest.mark.parametrize(("topic", "payload", "said"), [row[1:] for row in PAYLOADS], ids=names(PAYLOADS))
def test_a_bad_payload_becomes_a_reason_and_no_sample(topic: str, payload: bytes, said: str) -> None:
    settings = parse(SETTINGS_TEXT, ENVIRON, no_file)
    assert isinstance(settings, Settings)
    outcome = read_message(Message(topic, payload, NOW), settings.message_sources())
    assert isinstance(outcome, Refusal)
    assert f"{outcome.code}: {outcome.reason}" == said


TIMES = b'"measured_at": 1790000000, "received_at": 1790000001}'
LINES: list[tuple[str, bytes, str]] = [
    ("no JSON", b"4.1",
     'this is no JSON object; write {"channel": ..., "value": ..., "measured_at": ..., "received_at": ...}'),
    ("half a line", b'{"channel": "a", "value": 4.1',
     "not JSON: Expecting ',' delimiter at character 29; send JSON as in RFC 8259"),
    ("a list", b"[1, 2]",
     'this is no JSON object; write {"channel": ..., "value": ..., "measured_at": ..., "received_at": ...}'),
    ("a key too few", b'{"channel": "a", "value": 4.1, "measured_at": 1790000000}',
     "it lacks received_at; the keys are channel, value, measured_at, received_at"),
    ("a key too many", b'{"channel": "a", "value": 4.1, "unit": "Cel", ' + TIMES,
     "it holds 'unit', which is no key here; the keys are channel, value, measured_at, received_at"),
    ("a value in quotes", b'{"channel": "a", "value": "4.1", ' + TIMES,
     "value is no number; write a finite number without quotes, and leave out what was not measured"),
    ("no value", b'{"channel": "a", "value": null, ' + TIMES,
     "value is no number; write a finite number without quotes, and leave out what was not measured"),
    ("not a number", b'{"channel": "a", "value": NaN, ' + TIMES,
     "NaN is no number in JSON; leave the line out"),
    ("a value beyond all numbers", b'{"channel": "a", "value": 1e999, ' + TIMES,
     "1e999 is larger than any number that can be kept; leave the line out"),
    ("true for a value", b'{"channel": "a", "value": true, ' + TIMES,
     "value is no number; write a finite number without quotes, and leave out what was not measured"),
    ("a channel that is a number", b'{"channel": 7, "value": 4.1, ' + TIMES,
     "channel is no text; write the channel's name in quotes"),
    ("a channel without a name", b'{"channel": "", "value": 4.1, ' + TIMES,
     "the channel name '' is empty or begins or ends with a space; write it as the kitchen file does"),
    ("a key twice", b'{"channel": "a", "channel": "b", "value": 4.1, ' + TIMES,
     "the name 'channel' stands twice in one object; send it once"),
    ("milliseconds", b'{"channel": "a", "value": 4.1, "measured_at": 1790000000000, "received_at": 1790000001}',
     "measured_at lies outside the years 2000 to 2100; write seconds, not milliseconds"),
    ("a time of day", b'{"channel": "a", "value": 4.1, "measured_at": "03:00", "received_at": 1790000001}',
     "measured_at: '03:00' is no time with an offset; write seconds since 1970, or a text as 2026-11-22T03:00:00Z"),
    ("a time without an offset",
     b'{"channel": "a", "value": 4.1, "measured_at": "2026-09-21T03:00:00", "received_at": 1790000001}',
     "measured_at: '2026-09-21T03:00:00' is no time with an offset; write seconds since 1970, or "
     "a text as 2026-11-22T03:00:00Z"),
    ("no UTF-8", b'{"channel": "\xff", "value": 4.1, ' + TIMES,
     "byte 13 is not UTF-8; send UTF-8 text"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "said"), [row[1:] for row in LINES], ids=names(LINES))
def test_a_bad_line_of_readings_is_named_by_its_number(line: bytes, said: str) -> None:
    good = b'{"channel": "a", "value": 4, ' + TIMES
    first, second, third = read_lines([good, line, good], {"a": "Cel"})
    assert second == BadLine(2, said)
    assert first == third


BATCH: dict[str, Any] = {
    "lot": "TONGUE-40",
    "plan": {
        "name": "Tongue, six days", "meat": "beef", "cut": "tongue", "method": "immersion", "packing": "under brine",
        "route": "cooked", "cure_days": 6.0, "thickness_mm": 70.0, "meat_kg": 1.4,
    },
    "as_made": {"meat_kg": 1.42, "brine_c": 3.6},
    "tubs": [{"tub": "white", "unit": "fridge"}],
}  # fmt: skip
HAND = {"value": 3.3, "where": "brine", "probe": "hand probe 1", "lot": "BRISKET-14"}
SIGN = {"disposition": "hold", "reason": "looked at the curve and the probe", "proposal": 1, "where_kept": "shelf 2"}
Act = Callable[..., Result]
FORMS: list[tuple[str, type[BaseModel], Act, Mapping[str, Any], Sequence[str]]] = [
    ("a batch without its meat", StartBatch, start_batch, {**BATCH, "as_made": {}},
     ["as_made.meat_kg: is not entered; enter it"]),
    ("a lot code with a slash", StartBatch, start_batch, {**BATCH, "lot": "TONGUE/40"},
     ["lot: has characters that cannot stand here; use letters, digits, dot, dash and underline"]),
    ("a lot code that is taken", StartBatch, start_batch, {**BATCH, "lot": "brisket-14"},
     ["lot: lot code brisket-14 is taken; a lot code is used once and never again; choose another"]),
    ("a brine that boils", StartBatch, start_batch, {**BATCH, "as_made": {"meat_kg": 1.4, "brine_c": 98.0}},
     ["as_made.brine_c: 98 °C is outside −30 to 60 °C; look at the decimal point and the unit, and enter it again"]),
    ("no tub", StartBatch, start_batch, {**BATCH, "tubs": []},
     ["tubs: no tub was named; name at least one tub and the unit that it stands in"]),
    ("a start in the future", StartBatch, start_batch, {**BATCH, "started_at": NOW + 7200.0},
     ["started_at: this time has not come yet; enter when it happened, in the past"]),
    ("a start without an offset", StartBatch, start_batch, {**BATCH, "started_at": "2026-11-25T01:00"},
     ["started_at: has no offset from UTC; write it as 2026-11-25T14:30:00+00:00; enter it again"]),
    ("an answer nobody asked for", MoveTub, move_tub, {"tub": "1", "unit": "fridge", "colour": "red"},
     ["colour: Extra inputs are not permitted; enter it again"]),
    ("a tub that is not there", MoveTub, move_tub, {"tub": "9", "unit": "fridge"},
     ["tub: BRISKET-14 has no tub 9; choose one of: 1, 2"]),
    ("a tub into an unknown unit", MoveTub, move_tub, {"tub": "1", "unit": "attic"},
     ["unit: no unit is called attic; choose one of: chamber, coldroom, fridge"]),
    ("a figure that is none", EnterHandReading, enter_hand_reading, {**HAND, "value": float("nan")},
     ["value: is no number; enter figures, for example 3.4"]),
    ("a probe in the sky", EnterHandReading, enter_hand_reading, {**HAND, "where": "sky"},
     ["where: is none of the choices; choose one of the list"]),
    ("a pH of fifteen", EnterHandReading, enter_hand_reading, {**HAND, "measure": "ph", "value": 15.0},
     ["value: 15 pH is outside 0 to 14 pH; look at the decimal point and the unit, and enter it again"]),
    ("a stage that is none", BeginStage, begin_stage, {"stage": "boil"},
     ["stage: is none of the choices; choose one of the list"]),
    ("an end without a reason", EndBatch, end_batch, {"reason": "-"},
     ["reason: is too short; say a little more"]),
    ("a proposal that was never made", SignDisposition, sign_disposition, {**SIGN, "proposal": 99_999},
     ["proposal: 99999 is no proposal for BRISKET-14; open the page of the batch again"]),
]  # fmt: skip


@pytest.mark.parametrize(("model", "act", "sent", "said"), [row[1:] for row in FORMS], ids=names(FORMS))
def test_a_bad_form_says_what_is_wrong_beside_the_field_and_changes_nothing(
    model: type[BaseModel], act: Act, sent: Mapping[str, Any], said: Sequence[str]
) -> None:
    office = made_office()
    before = office.present.catch_up()
    ada = before.people["ada"]
    with_lot = act not in (start_batch, enter_hand_reading)
    try:
        request = model.model_validate(sent)
        with pytest.raises(Refused) as refused:
            do(office, lambda kitchen: act(kitchen, *(["BRISKET-14"] if with_lot else []), request, ada, NOW))
        faults = refused.value.faults
    except ValidationError as invalid:
        faults = told(invalid)
    assert [f"{fault.field}: {fault.what}; {fault.mend}" for fault in faults] == list(said)
    assert office.present.catch_up() is before


class Desk:
    """A folder with the two files, a data folder in which the kitchen was applied, and a console that stands in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.write("kitchen.toml", KITCHEN_TEXT)
        self.write("settings.toml", self.settings())
        self.write("readings.jsonl", '{"channel": "a", "value": 4, ' + TIMES.decode() + "\n")
        assert self.run("apply", "kitchen.toml", "--data", "data")[0] == 0

    def settings(self) -> str:
        return edited(
            SETTINGS_TEXT,
            [
                ("/var/lib/curevigil", str(self.data)),
                ("port = 1883 ", "port = 1 "),
                ('address = "localhost"', 'address = "127.0.0.1"'),
                ('username = "collector"', "# "),
                ('password = "env:CUREVIGIL_BROKER_PASSWORD"', "# "),
                ("ballast_mib = 64", "ballast_mib = 0"),
            ],
        )

    def write(self, name: str, text: str | bytes) -> None:
        (self.folder / name).write_bytes(text.encode() if isinstance(text, str) else text)

    def run(self, *arguments: str) -> tuple[int, str, str]:
        """Return the exit code and the two outputs."""
        environ = {
            "CUREVIGIL_INES_WEBHOOK": "https://hooks.example/a1b2",
            "CUREVIGIL_INES_SIGNING": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
            "CUREVIGIL_INES_EMAIL": "ines@kitchen.example",
            "CUREVIGIL_INES_PUSH": "json://push.example/a1b2",
            "CUREVIGIL_SMTP_PASSWORD": "correct horse",
        }
        result = CliRunner().invoke(main, arguments, env=environ, prog_name="curevigil")
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result.exit_code, result.stdout, result.stderr

    def state(self) -> dict[str, bytes]:
        """Return the bytes of every file but those that SQLite keeps for itself while it reads."""
        files = sorted(path for path in self.folder.rglob("*") if path.is_file())
        return {str(p.relative_to(self.folder)): p.read_bytes() for p in files if p.suffix not in (".sqlite-shm",)}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.chdir(tmp_path)
    return Desk(tmp_path)


REPLAY = ("replay", "--kitchen", "kitchen.toml", "--readings", "readings.jsonl", "--out", "out", "--until")
Files = Mapping[str, str | bytes]
COMMANDS: list[tuple[str, Files, Sequence[str], int, str]] = [
    ("an unknown command", {}, ("levitate",), 2, "Error: No such command 'levitate'."),
    ("no kitchen named", {}, ("apply",), 2, "Error: Missing argument 'KITCHEN'."),
    ("no data folder named", {}, ("apply", "kitchen.toml"), 2,
     "Error: name the data folder: --data FOLDER, or --config with the settings that name it"),
    ("a kitchen that is not there", {}, ("apply", "kitchn.toml", "--data", "data"), 1,
     "Error: kitchn.toml cannot be read: no such file or directory; name the file, and let this user read it"),
    ("a folder for a kitchen", {}, ("apply", "data", "--data", "data"), 1,
     "Error: data cannot be read: is a directory; name the file, and let this user read it"),
    ("a kitchen that is no UTF-8", {"k.toml": b"[site]\nid = \"\xff\"\n"}, ("apply", "k.toml", "--data", "data"), 1,
     "Error: k.toml line 2: this is no UTF-8 text; save the file as UTF-8"),
    ("a kitchen that is no TOML", {"k.toml": "[site\n"}, ("apply", "k.toml", "--data", "data"), 1,
     "Error: 1 fault; nothing in k.toml was used"),
    ("a kitchen of another site", {"k.toml": KITCHEN_TEXT.replace('"harrow-lane"', '"harrow-road"')},
     ("apply", "k.toml", "--data", "data"), 1,
     "k.toml line 7: site id: this journal is the one of harrow-lane; name another data folder, or mend the id"),
    ("a changed plan", {"k.toml": KITCHEN_TEXT.replace("cure_days = 5.0", "cure_days = 9.0")},
     ("apply", "k.toml", "--data", "data"), 1, "Error: 1 fault; nothing was changed"),
    ("a file for a data folder", {}, ("apply", "kitchen.toml", "--data", "readings.jsonl"), 1,
     "Error: readings.jsonl: file exists; name a folder that can be written"),
    ("a strange file in place of the journal", {"odd/journal.sqlite": b"once upon a time" * 100},
     ("apply", "kitchen.toml", "--data", "odd"), 1, "file is not a database; nothing was changed"),
    ("settings that are not there", {}, ("check", "--config", "none.toml"), 1,
     "Error: none.toml cannot be read: no such file or directory; name the file, and let this user read it"),
    ("settings with two faults", {"s.toml": '[broker]\nport = 0\n[stores]\nfolder = "data"\n'},
     ("check", "--config", "s.toml"), 1,
     "s.toml line 2: broker port: 0 is not above 0; look at the figure and its unit"),
    ("a broker that is away", {}, ("check", "--config", "settings.toml"), 1,
     "broker: 127.0.0.1:1 does not answer: connection refused; "
     "start the broker, or mend address and port; readings are taken as soon as it answers"),
    ("a rota that reaches nobody", {}, ("check", "--config", "settings.toml"), 1,
     "rota tomas: an alarm reaches them by the log alone; describe [[reach]] for them in curevigil.toml"),
    ("settings that do not fit, at the start", {"s.toml": "[broker]\n"}, ("run", "--config", "s.toml"), 1,
     "Error: 4 faults; s.toml was not used"),
    ("a time that is none", {}, (*REPLAY, "tomorrow"), 2,
     "the time: 'tomorrow' is no time with an offset; write seconds since 1970, or a text as 2026-11-22T03:00:00Z"),
    ("a time in milliseconds", {}, (*REPLAY, "1790000000000"), 2,
     "the time: '1790000000000' is no time with an offset; write seconds since 1970"),
    ("a bad line", {"readings.jsonl": "4.1\n"}, (*REPLAY, "1790000100"), 1,
     "Error: 1 line holds no reading; mend them, or leave them out with --skip-bad-lines; nothing was judged"),
    ("readings that are not there", {}, ("replay", "--kitchen", "kitchen.toml", "--readings", "none", "--out", "out",
     "--until", "1790000100"), 1, "Error: none cannot be read: no such file or directory; name a file of readings"),
    ("a file for a folder", {"out": "here already"}, (*REPLAY, "1790000100"), 1,
     "Error: out: file exists; name a folder that can be written"),
    ("a rulebook with a fault", {"b.toml": 'id = "X"\n'}, ("rulebook", "check", "b.toml"), 1, "; not used"),
]  # fmt: skip


@pytest.mark.parametrize(("files", "words", "code", "said"), [row[1:] for row in COMMANDS], ids=names(COMMANDS))
def test_a_bad_command_ends_with_a_message_and_leaves_everything_as_it_was(
    desk: Desk, files: Files, words: Sequence[str], code: int, said: str
) -> None:
    for name, text in files.items():
        (desk.folder / name).parent.mkdir(exist_ok=True)
        desk.write(name, text)
    before = desk.state()
    found, out, err = desk.run(*words)
    assert (found, said in out + err) == (code, True), out + err
    assert "Traceback" not in out + err
    assert desk.state() == before


def test_there_are_enough_rows_and_no_two_of_a_kind_are_the_same() -> None:
    tables: list[Sequence[tuple[Any, ...]]] = [SETTINGS, KITCHENS, AT_ODDS, PAYLOADS, LINES, FORMS, COMMANDS]
    assert sum(len(table) for table in tables) >= 60
    assert [len(set(names(table))) for table in tables] == [len(table) for table in tables]


def test_only_twenty_bad_lines_are_listed_and_the_rest_are_counted(desk: Desk) -> None:
    desk.write("readings.jsonl", "nonsense\n" * 50)
    code, out, err = desk.run(*REPLAY, "1790000100")
    assert code == 1
    assert err.count("readings.jsonl line ") == 20
    assert "50 lines hold no reading" in err


def test_bad_lines_are_left_out_and_counted_where_that_is_asked_for(desk: Desk) -> None:
    desk.write("readings.jsonl", 'nonsense\n{"channel": "a", "value": 4, ' + TIMES.decode() + "\n")
    code, out, err = desk.run(*REPLAY, "1790000100", "--skip-bad-lines")
    assert (code, out) == (0, "readings 1, alarms 0, dispositions 0\n"), err
    assert "readings.jsonl line 1: " in err
    assert "1 line holds no reading, and were left out" in err
    assert json.loads((desk.folder / "out" / "dispositions.json").read_text()) == []
