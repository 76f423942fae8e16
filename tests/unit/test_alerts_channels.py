"""Ways to reach a person."""

import json
import logging
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from alerts.channels.log import LogChannel
from alerts.channels.webhook import WebhookChannel
from alerts.escalation import Telling
from collector.findings import Condition
from collector.kitchen import Alarm

ALARM = Alarm("A7", Condition("room", "product_warm", "temperature", True, 5.0, ("B1",)), 10.0)
TELLING = Telling("A7", "raised", "ana", "webhook")


class Listener(HTTPServer):
    """A local server that keeps what it was sent and answers as it is told."""

    got: list[dict[str, object]]
    answer: int


class _Keep(BaseHTTPRequestHandler):
    server: Listener

    def do_POST(self) -> None:
        length = int(self.headers["content-length"])
        self.server.got.append(json.loads(self.rfile.read(length)))
        self.send_response(self.server.answer)
        self.send_header("location", "http://127.0.0.1:9/elsewhere")
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


def channel_to(listener: Listener) -> WebhookChannel:
    return WebhookChannel({"ana": f"http://127.0.0.1:{listener.server_port}/secret-path"})


def test_a_webhook_posts_what_is_told_in_plain_words(listener: Listener) -> None:
    channel = channel_to(listener)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert sent.accepted
    (document,) = listener.got
    assert document["first_line"] == "first line"
    assert document["state"] == "unacknowledged alarm"
    assert document["lots"] == ["B1"]
    assert "disposition" not in document


@pytest.mark.parametrize("answer", [302, 400, 410, 500])
def test_only_a_2xx_counts_and_no_redirect_is_followed(listener: Listener, answer: int) -> None:
    listener.answer = answer
    channel = channel_to(listener)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert (sent.accepted, sent.detail) == (False, f"HTTP {answer}")
    assert len(listener.got) == 1


def test_a_dead_address_is_a_failed_telling_that_names_no_secret() -> None:
    channel = WebhookChannel({"ana": "http://127.0.0.1:9/secret-path"}, timeout_s=1.0)
    sent = channel.send(TELLING, ALARM, "first line", "body")
    channel.close()
    assert not sent.accepted
    assert "secret" not in sent.detail


def test_a_person_without_an_address_is_a_failed_telling() -> None:
    channel = WebhookChannel({})
    assert channel.send(TELLING, ALARM, "first line", "body").detail == "no address for this person"
    channel.close()


def test_the_log_takes_the_first_line_and_escapes_it(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, "curevigil.alarm"):
        assert LogChannel().send(TELLING, ALARM, "one\nline=forged", "body").accepted
    assert "\n" not in caplog.messages[0]
