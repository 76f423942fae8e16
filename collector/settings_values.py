"""Kinds of values in a settings file; a secret is a reference, resolved at once, and shown nowhere. Pure.

Nothing here looks into the environment or opens a file: both are passed in.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import BeforeValidator, Field, SecretStr, ValidationInfo

from collector.toml_faults import refuse, shown

ReadSecret = Callable[[str], str]
"""A path to the text of the file; raises OSError or UnicodeDecodeError."""


@dataclass(frozen=True, slots=True)
class Outside:
    """What a reference to a secret is resolved with."""

    environ: Mapping[str, str]
    read_secret: ReadSecret


def _secret(value: object, info: ValidationInfo) -> SecretStr:
    """Return what a reference means. The value itself is in no fault: it may be a secret written by mistake."""
    kind, _, name = value.partition(":") if isinstance(value, str) else ("", "", "")
    if kind not in ("env", "file") or not name:
        refuse("a secret is never written here", 'write "env:NAME" or "file:PATH", where it is to be found')
    outside: Outside = info.context  # type: ignore[assignment]
    if kind == "env":
        found = outside.environ.get(name)
        if found is None:
            refuse(f"the environment has no {name}", f"set {name} for the service, or name another one")
    else:
        try:
            found = outside.read_secret(name)
        except (OSError, UnicodeDecodeError) as error:
            why = (error.strerror if isinstance(error, OSError) else None) or "it is no UTF-8 text"
            refuse(f"the file {name} cannot be read: {why}", "name a file with the secret alone in it")
        found = found.rstrip("\r\n")
    if not found:
        refuse(f"{name} is empty", "put the secret there")
    return SecretStr(found)


def is_web_address(text: str) -> bool:
    """Return whether a text is an http or https address with a host."""
    try:
        parts = urlsplit(text)
        return parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        return False


def web_address(value: object) -> object:
    """Return the web address that people type, without a stroke at its end; anything more is refused."""
    if isinstance(value, str) and not is_web_address(value):
        refuse(f"{shown(value)} is no web address", 'write what people type, such as "https://curevigil.example"')
    if isinstance(value, str) and (urlsplit(value).query or urlsplit(value).fragment):
        refuse(f"{shown(value)} holds more than an address", "leave out what begins with ? or #")
    return value.rstrip("/") if isinstance(value, str) else value


def host_name(value: object) -> object:
    """Return a host name or address as it was written; anything more is refused."""
    if isinstance(value, str) and ("/" in value or ":" in value.strip("[]") and not is_ip(value) or " " in value):
        refuse(f"{shown(value)} is no host name", "write the name or address alone; port and tls are keys of their own")
    return value


def is_ip(value: str) -> bool:
    """Return whether a text is an IP address, in brackets or not."""
    try:
        ip_address(value.strip("[]"))
    except ValueError:
        return False
    return True


def whole_path(value: object) -> object:
    """Return a path as it was written, which must begin at /."""
    if isinstance(value, str) and not value.startswith("/"):
        refuse(f"{shown(value)} depends on where the program is started", "write the whole path, from / on")
    return value


Secret = Annotated[SecretStr, BeforeValidator(_secret)]
Text = Annotated[str, Field(min_length=1, max_length=1000)]
WholePathText = Annotated[Text, BeforeValidator(whole_path)]
