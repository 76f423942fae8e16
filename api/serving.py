"""Serving the pages and the API of a running kitchen until somebody stops it. Shell."""

import asyncio
import logging
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import uvicorn

from alerts.outlook import slope_c_per_s
from alerts.rulebook.shelf import load, names
from alerts.service import Service
from api.app import create_app
from api.auth.codes import FIRST_RUN, issue_code
from api.auth.entry import admins, anybody_has_account
from api.auth.links import issue_link
from api.chart_bundle import content
from api.office import Estimate, Office, Settings
from api.works import Works
from collector.health import Part
from collector.sample import Instant
from collector.storage import StoreFailed

log = logging.getLogger(__name__)

Announce = Callable[[str, str], None]
"""Takes the address, and a sign-in code that is empty where none was needed."""
FIRST_CODE_S = 3600.0
SHOWN_CODE_S, SHOWN_CODE_USES = 86_400.0, 20
"""House: the demo's code, for whoever looks at it today, on a phone too."""
GRACE_S = 2
"""How long an open request may take to end: an event stream never ends by itself. [s]"""
LOOKS = 20


def serve(
    works: Works,
    *,
    port: int,
    announce: Announce,
    plain_http: bool,
    person: str = "",
    host: str = "127.0.0.1",
    public_address: str = "",
    notice: str = "",
) -> None:
    """Serve until SIGINT or SIGTERM, then return; the caller stops the works.

    With `person` a code for them is announced every time (the demo); without, the first-run code while nobody can
    sign in. Raises StoreFailed, and SystemExit with a sentence where the port cannot be listened at.
    """
    with _listening(host, port) as door:
        address = (public_address or f"http://{_place(host, door.getsockname()[1])}").rstrip("/")
        works.service.link_for = link_maker(works, address)
        office = office_of(works, Settings(plain_http=plain_http, public_address=address, notice=notice))
        code = first_code(office, person)
        app = create_app(office)
        config = uvicorn.Config(
            app, log_config=None, access_log=False, server_header=False, lifespan="off",
            timeout_graceful_shutdown=GRACE_S,
        )  # fmt: skip
        logging.getLogger("uvicorn.error").addFilter(_is_news)
        server = _Server(config, lambda: announce(address, code), app.state.stopping)
        with _ended_by_signals(server):
            server.run(sockets=[door])


def office_of(works: Works, settings: Settings) -> Office:
    """Return the running kitchen as the pages and the API see it."""
    return Office(
        present=works.present,
        journal=works.stores.journal,
        readings=works.shown,
        working=works.working,
        clock=works.clock,
        security_clock=time.time,
        health=_Watched(works),
        estimates=lambda: estimates_by_unit(works.service),
        history=works.history,
        limit_of=works.unit_limit,
        rulebooks={name: load(name) for name in names()},
        judged=lambda lot: works.judge(works.present.kitchen, lot, works.clock()),
        charts=_Charts(works.folder),
        settings=settings,
        sources=works.sources,
        reach=works.reach,
        moving=works.service.moving,
        drill=works.drill,
    )


def first_code(office: Office, person: str) -> str:
    """Return the code to announce, or "" where somebody can sign in already. Raises StoreFailed."""
    now = office.security_clock()
    if person:
        return issue_code(office.working, person, now, lasts_s=SHOWN_CODE_S, uses=SHOWN_CODE_USES)
    if anybody_has_account(office.working):
        return ""
    known = admins(office.present.catch_up())
    return issue_code(office.working, known[0].id if known else FIRST_RUN, now, lasts_s=FIRST_CODE_S)


def link_maker(works: Works, address: str) -> Callable[[str, str, Instant], str]:
    """Return what makes the acknowledge link of a message; where the store refuses, the message goes without one."""

    def link_for(alarm: str, person: str, now: Instant) -> str:
        try:
            # A link lives by the real clock, as everything that lets people in: `now` may be the demo's.
            return f"{address}/a/{issue_link(works.working, alarm, person, time.time())}"
        except StoreFailed:
            log.exception("an acknowledge link could not be made")
            return ""

    return link_for


def estimates_by_unit(service: Service) -> dict[str, dict[str, Estimate]]:
    """Return what the watch knows of each batch in each unit, as of its last reading.

    The watch goes on meanwhile in its own thread, and what is being gone through may grow: then look again.
    """
    for _ in range(LOOKS):
        try:
            return _estimates(service)
        except RuntimeError as fault:
            log.debug("the watch moved on while it was looked at: %s", fault)
    return {}


def _estimates(service: Service) -> dict[str, dict[str, Estimate]]:
    found: dict[str, dict[str, Estimate]] = {}
    for lot, one in service.estimates().items():
        watch = service.watches.get(one.unit)
        if watch is None:
            continue
        air = list(watch.air)
        trend = slope_c_per_s(air)[1] * 3600.0 if len(air) > 1 else None
        heard_at = watch.at if watch.at is not None else watch.since_at
        found.setdefault(one.unit, {})[lot] = Estimate(
            heard_at,
            one.likely_c,
            one.lower_c,
            one.upper_c,
            one.air_c,
            trend,
            min((tub.tau_s for tub in watch.tubs if tub.lot == lot), default=None),
            (one.claimed_low_c, one.claimed_high_c),
        )
    return found


class _Watched:
    """The parts of the works, with what the watch itself cannot say: that it has stopped."""

    def __init__(self, works: Works) -> None:
        self._works = works
        self._one_at_a_time = threading.Lock()

    def __call__(self) -> Sequence[Part]:
        with self._one_at_a_time:
            self._works.say_watch()
        return self._works.health.parts()


class _Charts:
    """The chart bundle, made beside everything else: the pages do without it meanwhile."""

    def __init__(self, folder: Path) -> None:
        self._found: bytes | None = None
        threading.Thread(target=self._make, args=(folder,), name="chart bundle", daemon=True).start()

    def _make(self, folder: Path) -> None:
        self._found = content(folder)

    def __call__(self) -> bytes | None:
        return self._found


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, listens: Callable[[], None], stopping: threading.Event) -> None:
        super().__init__(config)
        self._listens = listens
        self._stopping = stopping

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._stopping.set()
        await super().shutdown(sockets)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._listens()


def _is_news(record: logging.LogRecord) -> bool:
    # A stream that is open when the server stops is cut off, which is no fault.
    return not (record.exc_info and isinstance(record.exc_info[1], asyncio.CancelledError))


@contextmanager
def _listening(host: str, port: int) -> Iterator[socket.socket]:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        door = socket.create_server((host, port), family=family)
    except OSError as fault:
        why = f"cannot listen at {_place(host, port)}: {fault.strerror}; choose another port, or stop what holds it"
        raise SystemExit(why) from fault
    with door:
        yield door


def _place(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


@contextmanager
def _ended_by_signals(server: uvicorn.Server) -> Iterator[None]:
    """Make the signals end the server and nothing else: uvicorn raises them again once it has ended.

    One that comes before uvicorn listens to signals itself ends the server as soon as it has begun.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(number: int, frame: FrameType | None) -> None:
        server.should_exit = True

    before = {one: signal.signal(one, end) for one in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
