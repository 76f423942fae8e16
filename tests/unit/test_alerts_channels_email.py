"""Telling by e-mail, to a real mail server on this machine."""

import email
import logging
import socket
import time
from collections.abc import Iterator
from email.message import EmailMessage
from email.policy import default
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from alerts.channels.email import EmailChannel, MailServer, composed, one_line
from alerts.escalation import Telling
from collector.findings import Condition
from collector.kitchen import Alarm
from collector.settings_reach import is_mailbox

ALARM = Alarm("A7", Condition("room", "product_warm", "temperature", True, 5.0, ("B1",)), 10.0)
TELLING = Telling("A7", "raised", "ana", "email")
SENDER = "curevigil@kitchen.example"


class Mailbox:
    """What a mail server does with what it is sent: it keeps it, or refuses the recipient."""

    def __init__(self) -> None:
        self.got: list[EmailMessage] = []
        self.to: list[str] = []
        self.refuses = False

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        if self.refuses:
            return f"550 nobody here is called {address}"
        envelope.rcpt_tos.append(address)
        return "250 taken"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.got.append(email.message_from_bytes(envelope.content, policy=default))
        self.to += envelope.rcpt_tos
        return "250 taken"


@pytest.fixture
def box() -> Mailbox:
    return Mailbox()


@pytest.fixture
def port(box: Mailbox) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        free = int(probe.getsockname()[1])
    controller = Controller(box, hostname="127.0.0.1", port=free)
    controller.start()
    yield free
    controller.stop()


def channel_to(port: int, security: Any = "plain", **more: Any) -> EmailChannel:
    server = MailServer("127.0.0.1", port, SENDER, security, **more)
    return EmailChannel(server, {"ana": "ana@kitchen.example", "bo": "bo@kitchen.example"}, timeout_s=1.0)


def test_one_message_goes_to_one_person_with_the_first_line_as_its_subject(box: Mailbox, port: int) -> None:
    line = "Cold room: meat may pass 5.0 °C from 03:40 (estimate)."
    assert channel_to(port).send(TELLING, ALARM, line, "1. Shut the door.").accepted
    (message,) = box.got
    assert (message["subject"], message["to"], message["from"]) == (line, "ana@kitchen.example", SENDER)
    assert box.to == ["ana@kitchen.example"]
    assert message.get_content_type() == "text/plain"
    assert message.get_content().splitlines() == [line, "", "1. Shut the door."]
    assert message["auto-submitted"] == "auto-generated"


def test_what_a_unit_is_called_cannot_become_a_header(box: Mailbox, port: int) -> None:
    assert channel_to(port).send(TELLING, ALARM, "Room\r\nBcc: all@elsewhere.example\r\n\r\nx", "body").accepted
    (message,) = box.got
    assert message["bcc"] is None
    assert message["subject"] == "Room Bcc: all@elsewhere.example x"
    assert box.to == ["ana@kitchen.example"]


def test_an_address_that_holds_more_than_one_address_is_no_address() -> None:
    for text in ("a@b.example\nBcc: c@d.example", "a@b.example, c@d.example", "Ana <a@b.example>", "a", ""):
        assert not is_mailbox(text)
    with pytest.raises(ValueError, match="[Hh]eader"):
        composed(TELLING, ALARM, SENDER, "a@b.example\nBcc: c@d.example", "x", "y")


def test_a_subject_is_one_printable_line() -> None:
    assert one_line("a\x00b\u2028c\td" + "e" * 300).startswith("a b c de")
    assert len(one_line("x" * 300)) == 200


def test_a_refused_recipient_is_a_failed_telling_that_names_nobody(box: Mailbox, port: int) -> None:
    box.refuses = True
    sent = channel_to(port).send(TELLING, ALARM, "line", "body")
    assert (sent.accepted, sent.detail) == (False, "the server refused the recipient (550)")


def test_a_server_without_encryption_gets_no_message_and_no_password(box: Mailbox, port: int) -> None:
    channel = channel_to(port, "starttls", username="curevigil", password="correct horse")
    sent = channel.send(TELLING, ALARM, "line", "body")
    assert (sent.accepted, sent.detail) == (False, "SMTPNotSupportedError")
    assert box.got == []
    assert not channel_to(port, "tls").send(TELLING, ALARM, "line", "body").accepted


def test_a_silent_server_is_given_up_soon() -> None:
    begun = time.monotonic()
    with socket.create_server(("127.0.0.1", 0)) as silent:
        server = MailServer("127.0.0.1", silent.getsockname()[1], SENDER, "plain")
        sent = EmailChannel(server, {"ana": "a@b.example"}, timeout_s=0.3).send(TELLING, ALARM, "line", "body")
    assert not sent.accepted
    assert time.monotonic() - begun < 2.0


def test_no_password_and_no_address_is_in_a_log_a_detail_or_a_repr(port: int, caplog: pytest.LogCaptureFixture) -> None:
    server = MailServer("127.0.0.1", port, SENDER, "plain", "curevigil", "correct horse")
    with caplog.at_level(logging.DEBUG, "curevigil"):
        sent = EmailChannel(server, {"ana": "ana@kitchen.example"}).send(TELLING, ALARM, "line", "body")
    assert not sent.accepted
    assert "correct horse" not in repr(server) + repr(sent) + caplog.text
    assert "ana@" not in repr(sent) + caplog.text


def test_a_person_without_an_address_is_a_failed_telling(port: int) -> None:
    assert not channel_to(port).send(Telling("A7", "raised", "cy", "email"), ALARM, "line", "body").accepted
