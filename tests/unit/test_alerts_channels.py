"""Ways to reach a person: the log, and webhooks with their signature."""

import hashlib
import hmac
import json
import logging
import threading
from base64 import b64decode, b64encode
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from alerts.channels.log import LogChannel
from alerts.channels.signature import document, message_id, signature
from alerts.channels.webhook import Hook, WebhookChannel
from alerts.channels.where import Refused, places, refusal
from alerts.escalation import Telling
from collector.findings import Condition
from collector.kitchen import Alarm, Told
from collector.settings_reach import signing_key

ALARM = Alarm("A7", Condition("room", "product_warm", "temperature", True, 5.0, ("B1",)), 10.0)
TELLING = Telling("A7", "raised", "ana", "webhook")
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
KEY = signing_key(SECRET) or b""


class Listener(HTTPServer):
    """A local server that keeps what it was sent and answers as it is told."""

    got: list[tuple[dict[str, str], bytes]]
    answer: int

    def documents(self) -> list[dict[str, object]]:
        return [json.loads(body) for _, body in self.got]


class _Keep(BaseHTTPRequestHandler):
    server: Listener

    def do_POST(self) -> None:
        length = int(self.headers["content-length"])
        headers = {name.lower(): value for name, value in self.headers.items()}
        self.server.got.append((headers, self.rfile.read(length)))
        self.send_response(self.server.answer)
        self.send_header("location", "http://127.0.0.1:9/elsewhere")
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        return None


@pytest.fixture
def listener() -> Iterator[Listener]:
    server = Listener(("127.0.0.1", 0), _Keep)
    server.got, server.answer = [], 204
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def channel_to(listener: Listener, *keys: bytes, private: bool = True) -> WebhookChannel:
    hook = Hook(f"http://127.0.0.1:{listener.server_port}/secret-path", keys, private)
    return WebhookChannel({"ana": hook}, "https://curevigil.example", clock=lambda: 1_614_265_330.0)


def told(accepted: bool, at: float) -> Told:
    return Told(at, "raised", "ana", "webhook", "accepted" if accepted else "failed")


def test_a_webhook_posts_a_cloud_event_in_plain_words(listener: Listener) -> None:
    channel = channel_to(listener)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert sent.accepted
    (document,) = listener.documents()
    assert {k: v for k, v in document.items() if k not in ("id", "data")} == {
        "specversion": "1.0",
        "source": "https://curevigil.example",
        "type": "curevigil.alarm.raised",
        "time": "1970-01-01T00:00:10.000Z",
        "subject": "room",
        "datacontenttype": "application/json",
    }
    data = document["data"]
    assert isinstance(data, dict)
    assert (data["first_line"], data["state"], data["lots"]) == ("first line", "unacknowledged alarm", ["B1"])
    assert "disposition" not in data
    assert listener.got[0][0]["content-type"].startswith("application/cloudevents+json")


def test_the_published_vector_of_the_signature_scheme_holds() -> None:
    # Standard Webhooks, the example of its specification.
    said = signature([KEY], "msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, b'{"test": 2432232314}')
    assert said == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_receiver_can_verify_what_arrived_with_either_of_two_secrets(listener: Listener) -> None:
    other = b"o" * 32
    channel = channel_to(listener, KEY, other)
    channel.send(TELLING, ALARM, "first line °C", "body")
    channel.close()
    ((headers, body),) = listener.got
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    for key, given in zip((KEY, other), headers["webhook-signature"].split(" "), strict=True):
        assert b64decode(given.removeprefix("v1,")) == hmac.new(key, signed, hashlib.sha256).digest()
    assert headers["webhook-timestamp"] == "1614265330"
    assert headers["webhook-id"] == json.loads(body)["id"]


def test_without_a_secret_nothing_pretends_to_be_signed(listener: Listener) -> None:
    channel = channel_to(listener)
    channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert "webhook-signature" not in listener.got[0][0]


def test_a_message_keeps_its_id_through_retries_and_a_repeated_telling_has_a_new_one() -> None:
    first = message_id(TELLING, ALARM)
    assert message_id(TELLING, replace(ALARM, told=(told(False, 11.0), told(False, 12.0)))) == first
    assert message_id(TELLING, replace(ALARM, told=(told(False, 11.0), told(True, 12.0)))) != first
    assert message_id(replace(TELLING, occasion="changed 1"), ALARM) != first
    listed = message_id(replace(TELLING, others=("A8",)), ALARM)
    assert listed not in (first, message_id(replace(TELLING, others=("A8", "A9")), ALARM))


def test_a_list_says_in_its_document_that_it_is_one_and_which_alarms_are_in_it() -> None:
    told = document(replace(TELLING, others=("A8", "A9")), ALARM, "urn:x", "For the morning", "1. a")
    data = told["data"]
    assert isinstance(data, dict)
    assert (told["type"], data["alarm"], data["others"]) == ("curevigil.alarm.list", "A7", ["A8", "A9"])
    assert document(TELLING, ALARM, "urn:x", "", "")["type"] == "curevigil.alarm.raised"


@pytest.mark.parametrize("answer", [302, 400, 500])
def test_only_a_2xx_counts_and_no_redirect_is_followed(listener: Listener, answer: int) -> None:
    listener.answer = answer
    channel = channel_to(listener)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert (sent.accepted, sent.detail) == (False, f"HTTP {answer}")
    assert len(listener.got) == 1


def test_a_receiver_that_says_it_is_gone_is_not_called_again(listener: Listener) -> None:
    listener.answer = 410
    channel = channel_to(listener)
    assert channel.send(TELLING, ALARM, "first line", "body").detail == "HTTP 410"
    listener.answer = 204
    again = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert not again.accepted
    assert len(listener.got) == 1


@pytest.mark.parametrize(
    "address",
    ["169.254.169.254", "fe80::1", "::ffff:169.254.169.254", "64:ff9b::a9fe:a9fe", "100.100.100.200", "fd00:ec2::254",
     "0.0.0.0", "224.0.0.1", "240.0.0.1"],
)  # fmt: skip
def test_metadata_link_local_and_odd_addresses_are_refused_whatever_is_set(address: str) -> None:
    assert isinstance(refusal(address, 443, private=True), Refused)


@pytest.mark.parametrize("address", ["127.0.0.1", "10.1.2.3", "192.168.1.1", "::1", "fd12::1", "100.64.0.1",
                                     "::ffff:10.0.0.1"])  # fmt: skip
def test_a_private_address_needs_the_setting(address: str) -> None:
    assert isinstance(refusal(address, 443, private=False), Refused)
    assert refusal(address, 443, private=True) is None


def test_a_public_address_is_called_at_its_usual_ports_only() -> None:
    assert refusal("93.184.216.34", 443, private=False) is None
    assert refusal("93.184.216.34", 8443, private=False) is None
    assert isinstance(refusal("93.184.216.34", 25, private=False), Refused)


def test_a_name_that_leads_to_this_machine_is_judged_by_where_it_leads(listener: Listener) -> None:
    assert isinstance(places("localhost", 443, private=False), Refused)
    channel = channel_to(listener, private=False)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert sent.detail == "a private address is called only with private_address = true"
    assert listener.got == []


def test_neither_address_nor_secret_is_returned_or_logged(listener: Listener, caplog: pytest.LogCaptureFixture) -> None:
    dead = WebhookChannel({"ana": Hook("http://127.0.0.1:9/secret-path", (KEY,), True)}, timeout_s=1.0)
    live = channel_to(listener, KEY)
    with caplog.at_level(logging.DEBUG):
        sent = [channel.send(TELLING, ALARM, "first line", "body") for channel in (dead, live)]
    dead.close()
    live.close()
    assert [s.accepted for s in sent] == [False, True]
    seen = repr(sent) + caplog.text + repr(Hook("http://h/secret-path", (KEY,)))
    assert "secret-path" not in seen
    assert b64encode(KEY).decode() not in seen


@pytest.mark.parametrize(
    "secret", ["MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_short", "whsec_!!", "whsec_" + "A" * 100]
)
def test_what_is_no_signing_secret_is_none(secret: str) -> None:
    assert signing_key(secret) is None


def test_a_person_without_an_address_is_a_failed_telling() -> None:
    channel = WebhookChannel({})
    assert channel.send(TELLING, ALARM, "first line", "body").detail == "no address for this person"
    channel.close()


def test_the_log_takes_the_first_line_and_escapes_it(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, "curevigil.alarm"):
        assert LogChannel().send(TELLING, ALARM, "one\nline=forged", "body").accepted
    assert "\n" not in caplog.messages[0]
