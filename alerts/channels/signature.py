"""What a webhook carries: a CloudEvents 1.0 document, signed by the Standard Webhooks scheme. No I/O."""

import hashlib
import hmac
import json
from base64 import b64encode
from collections.abc import Sequence
from datetime import UTC, datetime

from alerts.escalation import Telling
from collector.kitchen import Alarm

CONTENT_TYPE = "application/cloudevents+json; charset=utf-8"


def signature(keys: Sequence[bytes], message: str, at_s: int, body: bytes) -> str:
    """Return the header `webhook-signature`: one `v1,` signature for each key, parted by spaces."""
    signed = f"{message}.{at_s}.".encode() + body
    return " ".join(f"v1,{b64encode(hmac.digest(key, signed, 'sha256')).decode()}" for key in keys)


def message_id(telling: Telling, alarm: Alarm) -> str:
    """Return the id of a telling: the same for every attempt at it, another one once it has been accepted.

    What is repeated because nobody answers is a new message, or its receiver would drop it as seen already.
    """
    mine = [t for t in alarm.told if (t.person, t.occasion) == (telling.person, telling.occasion)]
    key = [alarm.id, alarm.raised_at, telling.occasion, telling.person, telling.channel, sum(t.accepted for t in mine)]
    if telling.others:
        # A list with another alarm in it is another message, or whoever drops what they have seen would lose it.
        key.append([*telling.others])
    return "msg_" + hashlib.sha256(json.dumps(key).encode()).hexdigest()[:32]


def document(telling: Telling, alarm: Alarm, source: str, first_line: str, body: str) -> dict[str, object]:
    """Return the CloudEvents document. Its time is when what it is about began or ended: the same on every attempt."""
    at = alarm.raised_at if alarm.returned_at is None else alarm.returned_at
    return {
        "specversion": "1.0",
        "id": message_id(telling, alarm),
        "source": source,
        "type": f"curevigil.alarm.{'list' if telling.others else telling.occasion.split()[0].lower()}",
        "time": datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "subject": alarm.condition.unit,
        "datacontenttype": "application/json",
        "data": {
            "id": f"{alarm.id} {telling.occasion} {telling.person}",
            "alarm": alarm.id,
            "others": list(telling.others),
            "unit": alarm.condition.unit,
            "kind": alarm.condition.kind,
            "category": alarm.condition.category,
            "state": alarm.state,
            "occasion": telling.occasion,
            "person": telling.person,
            "lots": list(alarm.condition.lots),
            "first_line": first_line,
            "body": body,
        },
    }
