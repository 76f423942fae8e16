"""What start-up refuses, and what should be mended although it would start: the list that `curevigil check` prints."""

import os
import shutil
import socket
import ssl
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

from alerts.channels.ways import target_faults
from api.check_heartbeat import heartbeat_doubts
from api.config_file import place_of
from collector.books_sql import open_books
from collector.journal_sql import SqlJournal
from collector.kitchen import Kitchen
from collector.line_protocol import MEASUREMENT
from collector.present import Present
from collector.readings import Quantity
from collector.readings_influx import InfluxArchive, Place
from collector.rota import uncovered
from collector.sample import Instant
from collector.settings import BrokerSettings, Settings
from collector.sqlite import driver
from collector.storage import StoreFailed
from collector.stores_sqlite import BOOKS
from collector.toml_faults import Fault

ANSWER_S = 3.0
"""How long the broker may take to take the call. House choice. [s]"""
ROOM_BYTES = 64 * 1024 * 1024
"""House: less free room than this beside the ballast is gone within days."""
OLDEST_SQLITE = (3, 8, 2)
"""Tables WITHOUT ROWID came with it (from memory, not checked)."""
TEMPERATURES = (Quantity.AIR_TEMPERATURE, Quantity.PRODUCT_TEMPERATURE, Quantity.BRINE_TEMPERATURE)


def refusals(settings: Settings, data: Path | None = None) -> tuple[Fault, ...]:
    """Return what start-up refuses: what it could not do without losing readings."""
    folder = data or settings.stores.folder
    found = [*owner_faults(folder), *_folder_faults(folder), *_sqlite_faults(driver.sqlite_version_info)]
    if not found:
        found += _room_faults(folder, settings.stores.ballast_mib * 2**20)
    return (*found, *target_faults(settings))


def doubts(settings: Settings, kitchen: Kitchen, now: Instant, folder: Path | None = None) -> tuple[Fault, ...]:
    """Return what should be mended although it starts: a kitchen nobody watches over, a broker that is away."""
    influx = _influx_doubts(place_of(settings))
    return (
        *_broker_faults(settings.broker),
        *influx,
        *kitchen_doubts(kitchen, now),
        *_reach_doubts(settings, kitchen),
        *heartbeat_doubts(settings, folder or settings.stores.folder),
    )


def kitchen_known(folder: Path, now: Instant) -> Kitchen:
    """Return the kitchen in a data folder's journal, read beside a running service. Raises StoreFailed."""
    path = folder / BOOKS
    if not path.exists():
        return Kitchen()
    journal = SqlJournal(open_books(path, may_migrate=False))
    try:
        return Present(journal, lambda: now).catch_up()
    finally:
        journal.close()


def owner_faults(folder: Path) -> Iterator[Fault]:
    """Return that the folder is another user's: root could write there, and the service could not any more."""
    with suppress(OSError):
        owner = folder.stat().st_uid
        if os.geteuid() == 0 and owner != 0:
            mend = "run this as that user, or give the folder to root"
            yield Fault("data folder", f"{folder} belongs to the user {_user(owner)}, and this is root", mend)


def _user(uid: int) -> str:
    with suppress(ImportError, KeyError):
        import pwd

        return pwd.getpwuid(uid).pw_name
    return str(uid)


def _nearest(folder: Path) -> Path:
    return next(path for path in (folder, *folder.parents) if path.exists())


def _folder_faults(folder: Path) -> Iterator[Fault]:
    there = _nearest(folder)
    if not there.is_dir():
        yield Fault("data folder", f"{there} is a file", "name a folder")
        return
    try:
        with tempfile.NamedTemporaryFile(dir=there, prefix=".curevigil-"):
            pass
    except OSError as error:
        why = (error.strerror or "refused").lower()
        mend = "let this user write there, or name another folder"
        yield Fault("data folder", f"nothing can be written in {there}: {why}", mend)
        return
    if folder.exists():
        try:
            kitchen_known(folder, 0.0)
        except StoreFailed as fault:
            # An older schema is brought up by the start itself.
            if "start the service once" not in str(fault):
                yield Fault("data folder", str(fault), "")


def _room_faults(folder: Path, ballast: int) -> Iterator[Fault]:
    with suppress(OSError):
        free = shutil.disk_usage(_nearest(folder)).free
        if free < ballast + ROOM_BYTES:
            what = f"{free >> 20} MiB are free on its disk, and {(ballast + ROOM_BYTES) >> 20} MiB are needed at least"
            yield Fault("data folder", what, "make room, or name a folder on another disk")


def _sqlite_faults(version: tuple[int, int, int]) -> Iterator[Fault]:
    if version < OLDEST_SQLITE:
        found, needed = (".".join(map(str, v)) for v in (version, OLDEST_SQLITE))
        yield Fault("SQLite", f"version {found} is too old", f"install {needed} or later, or the wheel of pysqlite3")


def _broker_faults(broker: BrokerSettings) -> Iterator[Fault]:
    where = f"{broker.address}:{broker.port}"
    try:
        with socket.create_connection((broker.address.strip("[]"), broker.port), timeout=ANSWER_S) as line:
            if broker.tls:
                context = ssl.create_default_context(cafile=broker.authority_file)
                with context.wrap_socket(line, server_hostname=broker.address.strip("[]")):
                    pass
    except ssl.SSLError as error:
        why = getattr(error, "verify_message", "") or error.reason or "the handshake failed"
        mend = "check authority_file, the port, and the name in the broker's certificate"
        yield Fault("broker", f"{where} answers, and its encryption is not trusted: {why}", mend)
    except (OSError, UnicodeError) as error:
        why = "it took longer than three seconds" if isinstance(error, TimeoutError) else getattr(error, "strerror", "")
        mend = "start the broker, or mend address and port; readings are taken as soon as it answers"
        yield Fault("broker", f"{where} does not answer: {(why or 'no such name').lower()}", mend)


def _influx_doubts(place: Place | None) -> Iterator[Fault]:
    if place is None:
        return
    address = urlsplit(place.url)
    if address.scheme == "http" and address.hostname not in ("localhost", "127.0.0.1", "::1"):
        yield Fault("influx", "the token travels unencrypted", "write https://, or use it on a closed network only")
    archive = InfluxArchive(place, answer_ms=round(ANSWER_S * 1000))
    try:
        archive.ask(f"SELECT value FROM {MEASUREMENT} LIMIT 1")
    except StoreFailed as fault:
        yield Fault("influx", str(fault), "readings are kept here meanwhile, and copied once it answers")
    finally:
        archive.close()


def kitchen_doubts(kitchen: Kitchen, now: Instant) -> Iterator[Fault]:
    """Return what is lacking in a kitchen that is to be watched."""
    if not kitchen.units:
        yield Fault("kitchen", "no unit is described, so nothing is watched", "`curevigil apply kitchen.toml`")
        return
    for unit in kitchen.units.values():
        if not any(a.quantity in TEMPERATURES for a in kitchen.assignments_of(unit.id, now)):
            what = f"no channel says how warm {unit.name} is"
            yield Fault(f"unit {unit.id}", what, "assign an air temperature to it")
    if not kitchen.rota:
        yield Fault("rota", "nobody is called when a unit warms", "describe [[rota]] in kitchen.toml")
    for person in dict.fromkeys(step.person for step in kitchen.rota):
        if person not in kitchen.people:
            yield Fault("rota", f"nobody has the id {person}", "describe them under [[person]] in kitchen.toml")
    for begins, ends in uncovered(kitchen.rota) if kitchen.rota else ():
        yield Fault("rota", f"nobody is called from {begins} to {ends}", "put somebody on the rota for these hours")
    if kitchen.people and not any("approver" in person.roles for person in kitchen.people.values()):
        yield Fault("people", "nobody may sign a disposition", "give one person the role approver")


def _reach_doubts(settings: Settings, kitchen: Kitchen) -> Iterator[Fault]:
    reached = settings.reach_order()
    for person in dict.fromkeys(step.person for step in kitchen.rota):
        if person not in reached:
            mend = "describe [[reach]] for them in curevigil.toml"
            yield Fault(f"rota {person}", "an alarm reaches them by the log alone", mend)
    for person, ways in settings.ways().items():
        if any(one.channel == "webhook" and not one.secrets for one in ways.values()):
            mend = "give its receiver and us a secret under `secrets`"
            yield Fault(f"reach {person}", "the webhook is not signed: anybody could send it an alarm", mend)
    if settings.drill is None and kitchen.rota:
        mend = 'describe [drill] with weekly = "Tue 10:00"'
        yield Fault("drill", "nobody ever tries whether calls reach the people on the rota", mend)
    for person in reached:
        if kitchen.people and person not in kitchen.people:
            yield Fault("reach", f"nobody in the kitchen has the id {person}", "mend the id, or describe the person")
