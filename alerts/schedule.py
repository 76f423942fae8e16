"""Jobs by the calendar: the only import of the scheduler. Nothing that an alarm waits for runs here."""

import logging
from collections.abc import Callable

from apscheduler.schedulers.background import BackgroundScheduler

from collector.storage import StoreFailed

log = logging.getLogger(__name__)


class Calendar:
    """Runs small daily jobs; a job missed while the machine slept runs once when it wakes."""

    def __init__(self) -> None:
        self._scheduler = BackgroundScheduler(
            timezone="UTC", job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
        )

    def daily(self, name: str, hour: int, minute: int, job: Callable[[], object]) -> None:
        """Run a job once a day at a UTC time; a job that fails is logged and comes again tomorrow."""
        self._scheduler.add_job(_guarded, "cron", (name, job), id=name, hour=hour, minute=minute)

    def every(self, name: str, seconds: float, job: Callable[[], object]) -> None:
        """Run a job again and again; one that fails is logged and comes again, one that did nothing is not logged."""
        self._scheduler.add_job(_quietly, "interval", (name, job), id=name, seconds=seconds)

    def start(self) -> None:
        """Begin."""
        self._scheduler.start()

    def stop(self) -> None:
        """End without waiting for a job that runs."""
        self._scheduler.shutdown(wait=False)


def _guarded(name: str, job: Callable[[], object]) -> None:
    try:
        log.info("job=%s result=%s", name, job())
    except StoreFailed:
        log.exception("job failed job=%s", name)


def _quietly(name: str, job: Callable[[], object]) -> None:
    try:
        if result := job():
            log.info("job=%s result=%s", name, result)
    except StoreFailed:
        log.exception("job failed job=%s", name)
