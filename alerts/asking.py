"""Asks other installations whether they work, each on its own beat, in one thread. Shell.

Nothing that comes back can hold it up: an answer is read to a bound, and given up after its time whatever it still
sends. Redirects are not followed: what stands elsewhere is another program's word.
"""

import asyncio
import logging
import ssl
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from time import monotonic

import httpx

from alerts.minding import MOST_BYTES, Answer, Heard, Timings, read_answer

log = logging.getLogger(__name__)

PATH = "/health"
# It writes every address that it asks into the log.
for _name in ("httpx", "httpcore"):
    logging.getLogger(_name).setLevel(logging.WARNING)


@dataclass(frozen=True, slots=True)
class Door:
    """Where one installation answers."""

    address: str
    authority_file: str | None = None

    @property
    def url(self) -> str:
        """Return the whole address that is asked."""
        return self.address if self.address.endswith(PATH) else self.address + PATH


async def ask(door: Door, timeout_s: float) -> Answer:
    """Ask once, on a connection of its own: a kept one would not show that new ones are refused."""
    begun_s = monotonic()
    try:
        async with asyncio.timeout(timeout_s):
            heard, detail = await _asked(door)
    except TimeoutError:
        heard, detail = Heard.NOTHING, f"no answer within {timeout_s:g} s"
    except httpx.ConnectError as fault:
        heard, detail = Heard.NOTHING, _why(fault)
    except Exception as fault:  # noqa: BLE001 - whatever an odd answer brings about, the next question is asked
        heard, detail = Heard.NOTHING, f"no answer ({type(fault).__name__})"
    ended_s = monotonic()
    log.debug("event=asked address=%s heard=%r took_s=%.3f", door.address, str(heard), ended_s - begun_s)
    return Answer(ended_s, heard, detail)


async def _asked(door: Door) -> tuple[Heard, str]:
    trust = ssl.create_default_context(cafile=door.authority_file) if door.url.startswith("https://") else False
    headers = {"accept": "application/json", "accept-encoding": "identity", "user-agent": "curevigil"}
    # The whole question has one time-out, round it.
    async with httpx.AsyncClient(verify=trust, timeout=None, follow_redirects=False, trust_env=False) as client:  # noqa: S113
        async with client.stream("GET", door.url, headers=headers) as answer:
            if answer.is_redirect:
                return Heard.NOTHING, f"it sends elsewhere (HTTP {answer.status_code})"
            body = b""
            async for chunk in answer.aiter_raw():
                body += chunk
                if len(body) > MOST_BYTES:
                    break
            return read_answer(answer.status_code, body)


def _why(fault: httpx.ConnectError) -> str:
    cause: BaseException | None = fault
    while cause is not None:
        if isinstance(cause, ConnectionRefusedError):
            return "the connection is refused"
        if isinstance(cause, ssl.SSLCertVerificationError):
            return f"its certificate is not trusted: {cause.verify_message}"
        cause = cause.__cause__ or cause.__context__
    return "no connection"


class Asker:
    """Asks every door again and again until stopped, and hands on what came of it."""

    def __init__(
        self, doors: Mapping[str, Door], timings: Timings, heard: Callable[[str, Answer], None]
    ) -> None:  # fmt: skip
        self._doors = dict(doors)
        self._timings = timings
        self._heard = heard
        self._thread = threading.Thread(target=self._run, name="asking", daemon=True)

    def start(self) -> None:
        """Begin; each door is asked at once."""
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Return whether it still asks."""
        return self._thread.is_alive()

    def _run(self) -> None:
        asyncio.run(self._all())

    async def _all(self) -> None:
        await asyncio.gather(*(self._again_and_again(name, door) for name, door in self._doors.items()))

    async def _again_and_again(self, name: str, door: Door) -> None:
        due_s = monotonic()
        while True:
            self._heard(name, await ask(door, self._timings.timeout_s))
            due_s = max(due_s + self._timings.every_s, monotonic())
            await asyncio.sleep(due_s - monotonic())


def ask_all(doors: Mapping[str, Door], timeout_s: float) -> dict[str, Answer]:
    """Ask every door once, at the same time."""

    async def asked() -> list[Answer]:
        return await asyncio.gather(*(ask(door, timeout_s) for door in doors.values()))

    return dict(zip(doors, asyncio.run(asked()), strict=True))
