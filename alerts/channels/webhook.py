"""Tells by an HTTP POST to an address of the site's own."""

from collections.abc import Mapping

import httpx

from alerts.channels.base import Sent
from alerts.escalation import Telling
from collector.kitchen import Alarm


class WebhookChannel:
    """Posts a small JSON document; only a 2xx answer counts, redirects are not followed."""

    def __init__(self, addresses: Mapping[str, str], timeout_s: float = 5.0) -> None:
        self._addresses = dict(addresses)
        self._client = httpx.Client(timeout=timeout_s, follow_redirects=False)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Post once. The address is never part of what is returned or logged: it may hold a secret."""
        address = self._addresses.get(telling.person)
        if address is None:
            return Sent(False, "no address for this person")
        document = {
            "id": f"{alarm.id} {telling.occasion} {telling.person}",
            "alarm": alarm.id,
            "unit": alarm.condition.unit,
            "kind": alarm.condition.kind,
            "category": alarm.condition.category,
            "state": alarm.state,
            "occasion": telling.occasion,
            "person": telling.person,
            "lots": list(alarm.condition.lots),
            "first_line": first_line,
            "body": body,
        }
        try:
            answer = self._client.post(address, json=document)
        except (httpx.HTTPError, httpx.InvalidURL) as fault:
            return Sent(False, type(fault).__name__)
        return Sent(answer.is_success, f"HTTP {answer.status_code}")

    def close(self) -> None:
        """Let go of open connections."""
        self._client.close()
