"""Tells by e-mail: one message to one person, in plain text, its first line as the subject."""

import smtplib
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from typing import Literal

from alerts.channels.base import Sent
from alerts.channels.signature import message_id
from alerts.escalation import Telling
from collector.kitchen import Alarm

LONGEST_SUBJECT = 200


@dataclass(frozen=True, slots=True)
class MailServer:
    """The server that takes our messages, and as whom we come."""

    host: str
    port: int
    sender: str
    security: Literal["starttls", "tls", "plain"] = "starttls"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    authority_file: str | None = None


def one_line(text: str) -> str:
    """Return a text as a header may hold it: no line end, no other sign that steers, and not too long."""
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.split())[:LONGEST_SUBJECT]


def composed(telling: Telling, alarm: Alarm, sender: str, to: str, first_line: str, body: str) -> EmailMessage:
    """Return the message. Raises ValueError for an address that cannot stand in a header."""
    made = EmailMessage()
    made["Subject"] = one_line(first_line)
    made["From"] = sender
    made["To"] = to
    made["Date"] = formatdate(usegmt=True)
    made["Message-ID"] = make_msgid(message_id(telling, alarm), sender.rpartition("@")[2])
    made["Auto-Submitted"] = "auto-generated"
    made.set_content(f"{first_line}\n\n{body}\n", charset="utf-8")
    return made


class EmailChannel:
    """Hands one message to the mail server; that it was taken does not say that anybody read it."""

    def __init__(self, server: MailServer, addresses: Mapping[str, str], timeout_s: float = 5.0) -> None:
        self._server = server
        self._addresses = dict(addresses)
        self._timeout_s = timeout_s

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Send once. Neither an address nor what the server said is returned: it likes to repeat addresses."""
        to = self._addresses.get(telling.person)
        if to is None:
            return Sent(False, "no address for this person")
        try:
            made = composed(telling, alarm, self._server.sender, to, first_line, body)
            with self._connected() as line:
                line.send_message(made, self._server.sender, [to])
        except smtplib.SMTPResponseException as fault:
            return Sent(False, f"{type(fault).__name__} {fault.smtp_code}")
        except smtplib.SMTPRecipientsRefused as fault:
            return Sent(False, f"the server refused the recipient ({next(iter(fault.recipients.values()))[0]})")
        except (smtplib.SMTPException, OSError, ValueError) as fault:
            return Sent(False, type(fault).__name__)
        return Sent(True, "the mail server has taken it")

    def _connected(self) -> smtplib.SMTP:
        server, wait_s = self._server, self._timeout_s
        if server.security == "tls":
            line: smtplib.SMTP = smtplib.SMTP_SSL(server.host, server.port, timeout=wait_s, context=self._trust())
        else:
            line = smtplib.SMTP(server.host, server.port, timeout=wait_s)
        try:
            if server.security == "starttls":
                line.starttls(context=self._trust())
            if server.username is not None:
                line.login(server.username, server.password or "")
        except BaseException:
            line.close()
            raise
        return line

    def _trust(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self._server.authority_file)
