"""What `curevigil check` says of the heartbeat. Nobody is called: a beat would say that the watch goes on."""

import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

from alerts.channels.where import Refused, places
from api.heartbeat import KEY, KIND
from collector.books_sql import open_books
from collector.settings import Settings
from collector.storage import StoreFailed
from collector.stores_sqlite import BOOKS
from collector.toml_faults import Fault
from collector.working_sql import SqlWorking


def heartbeat_doubts(settings: Settings, folder: Path) -> Iterator[Fault]:
    """Return what stands in the way of the heartbeat; the address is in no fault, since it may hold a secret."""
    given = settings.heartbeat
    if given is None:
        return
    url = urlsplit(given.url.get_secret_value())
    port = url.port or (443 if url.scheme == "https" else 80)
    found = places(url.hostname or "", port, private=given.private_address)
    if isinstance(found, Refused):
        yield Fault("heartbeat url", f"it cannot be called: {found.why}", "mend the address, or look at the network")
    elif url.scheme == "http" and not given.private_address:
        what = "the address travels unencrypted, and whoever reads it can beat in our place"
        yield Fault("heartbeat url", what, "use https://")
    last = last_beat(folder)
    if last.get("how") == "failed":
        yield Fault("heartbeat", f"the running service's last beat was not taken: {last.get('why')}", "look at its log")
    elif last.get("how") == "withheld":
        yield Fault("heartbeat", f"the running service withholds it: {last.get('why')}", "")


def last_beat(folder: Path) -> dict[str, object]:
    """Return how the last beat of the service went; empty where none is known."""
    path = folder / BOOKS
    if not path.exists():
        return {}
    try:
        working = SqlWorking(open_books(path, may_migrate=False))
        try:
            return working.get(KIND, KEY, time.time()) or {}
        finally:
            working.close()
    except StoreFailed:
        return {}
