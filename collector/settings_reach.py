"""How people are reached, as the settings tell it: ways in each person's order, the mail server, the lamp. Pure."""

import binascii
import re
from base64 import b64decode
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from collector.formats.names import captures, topic_refusal
from collector.rota import DAYS
from collector.settings_values import Secret, Text, WholePathText, host_name, is_web_address
from collector.toml_faults import Fault, Sheet, Table, refuse, shown
from collector.toml_lines import Place

SIGNING_PREFIX = "whsec_"
KEY_BYTES = (24, 64)
"""Standard Webhooks: between 24 and 64 random bytes."""
_MAILBOX = re.compile(r"[^\s@<>,;:\"()\[\]\\\x00-\x1f\x7f]+@[^\s@<>,;:\"()\[\]\\\x00-\x1f\x7f]+")


def signing_key(secret: str) -> bytes | None:
    """Return the key that a `whsec_...` secret holds, or None where it is none.

    >>> len(signing_key("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw") or b"")
    24
    """
    if not secret.startswith(SIGNING_PREFIX):
        return None
    try:
        key = b64decode(secret.removeprefix(SIGNING_PREFIX), validate=True)
    except (binascii.Error, ValueError):
        return None
    return key if KEY_BYTES[0] <= len(key) <= KEY_BYTES[1] else None


def is_mailbox(text: str) -> bool:
    r"""Return whether a text is one plain e-mail address, and nothing that could become a second header.

    >>> is_mailbox("ines@example.org"), is_mailbox("ines@example.org\nBcc: all@example.org")
    (True, False)
    """
    return len(text) <= 254 and _MAILBOX.fullmatch(text) is not None


def _sender(value: object) -> object:
    if isinstance(value, str) and not is_mailbox(value):
        refuse("this is no e-mail address", 'write the address alone, such as "curevigil@example.org"')
    return value


def _lamp_topic(value: object) -> object:
    if not isinstance(value, str):
        return value
    named = value.replace("{site}", "site").replace("{unit}", "unit")
    if "{unit}" not in value or "{" in named or "+" in named or "#" in named or topic_refusal(named) is not None:
        refuse("this is no topic for each unit", 'write it as "curevigil/{site}/{unit}/alarm"')
    return value


def _weekly(value: str) -> str:
    day, space, wall = value.partition(" ")
    hour, colon, minute = wall.partition(":")
    told = space and colon and re.fullmatch(r"[0-2][0-9]:[0-5][0-9]", wall) is not None and hour < "24"
    if not told or day.lower() not in DAYS:
        refuse(f"{shown(value)} is no day with a time", 'write it as "Tue 10:00"')
    return f"{day.title()} {hour}:{minute}"


class ReachSettings(Table):
    """One way to reach one person."""

    person: Text = Field(description="the person's id in the kitchen")
    channel: Literal["webhook", "email", "apprise"] = Field(description="webhook, email or apprise")
    address: Secret = Field(description='where the address is to be found: "env:NAME" or "file:PATH"')
    secrets: Annotated[tuple[Secret, ...], Field(strict=False)] = ()
    private_address: bool = False


class SmtpSettings(Table):
    """The mail server that takes our messages."""

    host: Annotated[Text, BeforeValidator(host_name)] = Field(description="host name or address of the mail server")
    port: int = Field(default=587, gt=0, lt=65_536)
    security: Literal["starttls", "tls", "plain"] = "starttls"
    sender: Annotated[Text, BeforeValidator(_sender)] = Field(description="the address that messages come from")
    username: Text | None = None
    password: Secret | None = None
    authority_file: WholePathText | None = None


class WaysSettings(Table):
    """What a settings file says of the ways to people."""

    reach: Annotated[tuple[ReachSettings, ...], Field(strict=False)] = ()
    smtp: SmtpSettings | None = None

    @property
    def sender_name(self) -> str:
        """Return as whom webhooks are sent, which a receiver finds as their source."""
        return "urn:curevigil"

    def ways(self) -> dict[str, dict[str, ReachSettings]]:
        """Return each person's ways by the channel's name, in the order in which that person wants to be reached.

        The second entry of a person with the same channel is `apprise 2`, and so on.
        """
        found: dict[str, dict[str, ReachSettings]] = {}
        for entry in self.reach:
            mine = found.setdefault(entry.person, {})
            before = sum(one.channel == entry.channel for one in mine.values())
            mine[f"{entry.channel} {before + 1}" if before else entry.channel] = entry
        return found

    def reach_order(self) -> dict[str, tuple[str, ...]]:
        """Return each person's channels in the order in which that person wants to be reached."""
        return {person: tuple(mine) for person, mine in self.ways().items()}

    def by_channel(self) -> dict[str, dict[str, ReachSettings]]:
        """Return who is reached by each channel, and how."""
        found: dict[str, dict[str, ReachSettings]] = {}
        for person, mine in self.ways().items():
            for name, entry in mine.items():
                found.setdefault(name, {})[person] = entry
        return found


class DrillSettings(Table):
    """When everybody on the rota is called to see whether calls reach them."""

    weekly: Annotated[Text, AfterValidator(_weekly)] = Field(
        description='day and time of day on the walls, such as "Tue 10:00"'
    )


class LampSettings(Table):
    """A lamp or siren for each unit, on the broker."""

    topic: Annotated[Text, BeforeValidator(_lamp_topic)] = "curevigil/{site}/{unit}/alarm"


def reach_faults(reach: tuple[ReachSettings, ...], smtp: SmtpSettings | None, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with the ways to reach people; no fault shows an address or a secret."""
    faults = []
    for index, entry in enumerate(reach):
        place: Place = ("reach", index)
        if any((e.person, e.channel, e.address) == (entry.person, entry.channel, entry.address) for e in reach[:index]):
            what = f"{entry.person} is reached by {entry.channel} at this address already"
            faults.append(sheet.fault((*place, "address"), what, "keep one of the two"))
        faults += _address_faults(entry, smtp, place, sheet)
        for key in ("secrets", "private_address"):
            if getattr(entry, key) and entry.channel != "webhook":
                what = f"it has no meaning with the channel {entry.channel}"
                faults.append(sheet.fault((*place, key), what, 'leave it out, or set channel = "webhook"'))
        for number, secret in enumerate(entry.secrets):
            if signing_key(secret.get_secret_value()) is None:
                mend = "put whsec_ and the Base64 of 24 to 64 random bytes there"
                faults.append(sheet.fault((*place, "secrets", number), "what stands there is no signing secret", mend))
    return faults


def _address_faults(entry: ReachSettings, smtp: SmtpSettings | None, place: Place, sheet: Sheet) -> list[Fault]:
    address = entry.address.get_secret_value()
    if entry.channel == "webhook" and not is_web_address(address):
        mend = "put one there that begins with https:// or http://"
        return [sheet.fault((*place, "address"), "what stands there is no web address", mend)]
    if entry.channel == "email" and not is_mailbox(address):
        mend = "put one address there, and nothing else"
        return [sheet.fault((*place, "address"), "what stands there is no e-mail address", mend)]
    if entry.channel == "email" and smtp is None:
        return [sheet.fault((*place, "channel"), "no mail server is described", "add a table [smtp]")]
    return []


def lamp_faults(lamp: LampSettings | None, filters: Sequence[str], sheet: Sheet) -> list[Fault]:
    """Return the sources that would take what the lamp is told for a reading."""
    if lamp is None:
        return []
    named = lamp.topic.replace("{site}", "site").replace("{unit}", "unit")
    if any(captures(one, named) is not None for one in filters):
        what = "a source reads these topics, and would take the lamp's words for readings"
        return [sheet.fault(("lamp", "topic"), what, "name another topic, or make the source's narrower")]
    return []


def smtp_faults(smtp: SmtpSettings | None, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with the mail server's table."""
    if smtp is None:
        return []
    faults = []
    if (smtp.password is None) != (smtp.username is None):
        key = "password" if smtp.username is None else "username"
        faults.append(sheet.fault(("smtp", key), "a password and a name go together", "write both, or neither"))
    if smtp.password is not None and smtp.security == "plain":
        what = "the password would travel unencrypted"
        faults.append(sheet.fault(("smtp", "security"), what, 'set security = "starttls" or "tls"'))
    if smtp.authority_file is not None and smtp.security == "plain":
        what = "it has a meaning only with encryption"
        faults.append(sheet.fault(("smtp", "authority_file"), what, "leave it out"))
    return faults
