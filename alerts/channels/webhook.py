"""Tells by an HTTP POST to an address of the site's own, signed so that the receiver knows who asks."""

import json
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import httpx

from alerts.channels.base import Sent
from alerts.channels.calling import NO_ANSWER, call, caller
from alerts.channels.signature import CONTENT_TYPE, document, signature
from alerts.channels.where import Refused
from alerts.escalation import Telling
from collector.kitchen import Alarm

GONE = 410


@dataclass(frozen=True, slots=True)
class Hook:
    """One person's address; nothing of it is in a repr."""

    address: str = field(repr=False)
    keys: tuple[bytes, ...] = field(default=(), repr=False)
    """Each signs; two stand here while one is replaced by another."""
    private: bool = False
    """Whether it may stand in a private network."""


class WebhookChannel:
    """Posts one CloudEvents document; only a 2xx answer counts, redirects are not followed, and 410 ends it."""

    def __init__(
        self,
        hooks: Mapping[str, Hook],
        source: str = "urn:curevigil",
        *,
        timeout_s: float = 5.0,
        clock: Callable[[], float] = time.time,
        trust: ssl.SSLContext | None = None,
    ) -> None:
        self._hooks = dict(hooks)
        self._source = source
        self._clock = clock
        self._gone: set[str] = set()
        self._client = caller(timeout_s, trust)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Post once. The address is never part of what is returned or logged: it may hold a secret."""
        hook = self._hooks.get(telling.person)
        if hook is None:
            return Sent(False, "no address for this person")
        if telling.person in self._gone:
            return Sent(False, "not tried: the receiver has said that it is gone (HTTP 410)")
        try:
            answer = self._post(hook, telling, alarm, first_line, body)
        except NO_ANSWER as fault:
            return Sent(False, type(fault).__name__)
        if isinstance(answer, Refused):
            return Sent(False, answer.why)
        if answer.status_code == GONE:
            self._gone.add(telling.person)
        return Sent(answer.is_success, f"HTTP {answer.status_code}")

    def _post(self, hook: Hook, telling: Telling, alarm: Alarm, first_line: str, body: str) -> httpx.Response | Refused:
        told = document(telling, alarm, self._source, first_line, body)
        content = json.dumps(told, ensure_ascii=False).encode()
        headers = {"content-type": CONTENT_TYPE, "webhook-id": str(told["id"])}
        at_s = int(self._clock())
        headers["webhook-timestamp"] = str(at_s)
        if hook.keys:
            headers["webhook-signature"] = signature(hook.keys, str(told["id"]), at_s, content)
        return call(self._client, "POST", hook.address, private=hook.private, headers=headers, content=content)

    def close(self) -> None:
        """Let go of open connections."""
        self._client.close()
