"""Whether another Curevigil still answers, and since when it does not. Pure: no clock, no I/O.

Seconds here are those of one monotonic clock, so that a step of the wall clock neither calls anybody nor keeps silent;
instants, for people to read, are handed in beside them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from alerts.alarms import Figures, Key
from alerts.sentences import clock_text
from collector.findings import Condition
from collector.formats.strict_json import loads
from collector.sample import Instant

EVERY_S = 20.0
"""House: so often each one is asked. [s]"""
TIMEOUT_S = 5.0
"""House: an answer takes no longer than this, whole. [s]"""
PATIENCE_S = 120.0
"""House: people are told once nothing good was heard for so long; a restart takes less. [s]"""
LOOK_S = 1.0
"""House: so often it is looked what is due. [s]"""
ATTEMPT_S = 10.0
"""House: so long the first telling may take, with one way before it that does not work. [s]"""
WITHIN_S = 300.0
"""Design, promise 5: if the watcher itself stops, somebody is told within five minutes. [s]"""
FAILURES_LEAST = 3
"""House: one lost answer proves nothing, however long nobody has asked; so many in a row do."""
MOST_BYTES = 65_536
"""House: an answer of Curevigil is far shorter; more is not read. [bytes]"""
KIND, CATEGORY = "watcher_gone", "connectivity"


class Heard(StrEnum):
    """What came of one question."""

    WELL = "works"
    UNWELL = "says that it does not work"
    NOTHING = "does not answer"


class State(StrEnum):
    """How one minded installation stands."""

    ANSWERING = "answering"
    DOUBTFUL = "doubtful"
    """The last question was answered badly or not at all, and the patience is not over."""
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one question, and when that was known."""

    at_s: float
    heard: Heard
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Timings:
    """How often is asked, how long an answer may take, and for how long nothing good may be heard. [s]"""

    every_s: float = EVERY_S
    timeout_s: float = TIMEOUT_S
    patience_s: float = PATIENCE_S

    @property
    def longest_s(self) -> float:
        """Return the longest from a death to the first person told: period, time-out, patience, look, attempt. [s]"""
        return self.every_s + self.timeout_s + self.patience_s + LOOK_S + ATTEMPT_S

    def fault(self) -> str:
        """Return why nobody could rely on these timings, "" where one can.

        >>> Timings().fault(), Timings(patience_s=600.0).fault()
        ('', 'somebody must be told within 300 s, and by these timings it could take 636 s')
        """
        if not all(one > 0.0 for one in (self.every_s, self.timeout_s, self.patience_s)):
            return "every timing must be above nothing"
        if self.patience_s < FAILURES_LEAST * self.every_s + self.timeout_s:
            return f"the patience must let {FAILURES_LEAST} questions fail"
        if not self.longest_s < WITHIN_S:
            return (
                f"somebody must be told within {WITHIN_S:g} s, and by these timings it could take {self.longest_s:g} s"
            )
        return ""


@dataclass(frozen=True, slots=True)
class Minded:
    """One installation that is minded: what was heard of it so far."""

    name: str
    zone: str
    begun_s: float
    """When asking began: nothing good was heard before."""
    well_s: float | None = None
    """When it last answered well."""
    asked_s: float | None = None
    """When what came of the last question was known."""
    failures: int = 0
    """Questions in a row that were not answered well."""
    how: Heard = Heard.WELL
    """What is said of it: once it is gone, this changes only to what has been heard alone for the whole patience."""
    other_s: float | None = None
    """Since when, it being gone, only something else than `how` was heard."""
    detail: str = ""
    gone: bool = False

    @property
    def state(self) -> State:
        """Return how it stands."""
        if self.gone:
            return State.GONE
        return State.DOUBTFUL if self.failures else State.ANSWERING

    @property
    def since_s(self) -> float:
        """Return since when nothing good was heard. [s]"""
        return self.begun_s if self.well_s is None else self.well_s


def read_answer(status: int, body: bytes) -> tuple[Heard, str]:
    """Return what an HTTP answer from `/health` says, and what of it is worth telling.

    >>> read_answer(200, b'{"works": true}')
    (<Heard.WELL: 'works'>, '')
    >>> read_answer(503, b'{"works": false}')
    (<Heard.UNWELL: 'says that it does not work'>, '')
    >>> read_answer(502, b"<html>Bad Gateway</html>")
    (<Heard.NOTHING: 'does not answer'>, 'what answers in its place is not Curevigil (HTTP 502)')
    """
    said = loads(body, limit_bytes=MOST_BYTES)
    works = said.get("works") if isinstance(said, dict) else None
    if works is True and status == 200:
        return Heard.WELL, ""
    if isinstance(works, bool):
        return Heard.UNWELL, ""
    return Heard.NOTHING, f"what answers in its place is not Curevigil (HTTP {status})"


def take(minded: Minded, answer: Answer, timings: Timings) -> Minded:
    """Return what is known after one more answer."""
    if answer.heard is Heard.WELL:
        return Minded(minded.name, minded.zone, minded.begun_s, well_s=answer.at_s, asked_s=answer.at_s)
    failed = replace(minded, asked_s=answer.at_s, failures=minded.failures + 1)
    if not minded.gone or answer.heard is minded.how:
        return replace(failed, how=answer.heard, other_s=None, detail=answer.detail)
    if minded.other_s is None:
        return replace(failed, other_s=answer.at_s)
    if answer.at_s - minded.other_s < timings.patience_s:
        return failed
    return replace(failed, how=answer.heard, other_s=None, detail=answer.detail)


def look(minded: Minded, now_s: float, timings: Timings) -> Minded:
    """Return the same, gone if nothing good was heard for the whole patience although it was asked.

    Whoever has not asked, since the machine slept, knows nothing yet, and asks first.
    """
    asked = minded.asked_s is not None and now_s - minded.asked_s <= 2.0 * timings.every_s + timings.timeout_s
    silent = now_s - minded.since_s >= timings.patience_s and minded.failures >= FAILURES_LEAST
    return replace(minded, gone=True) if asked and silent else minded


def condition(minded: Minded, since_at: Instant) -> Condition:
    """Return what is to be told of one that is gone, nothing good having been heard of it since an instant."""
    since = clock_text(since_at, minded.zone) + (" UTC" if minded.zone == "UTC" else "")
    known = minded.well_s is not None
    parameters: Figures = {
        "unit_name": minded.name,
        "since_text": f"since {since}" if known else f"(asked since {since})",
        "detail_text": f"Last: {minded.detail}." if minded.detail else "",
    }
    sentence = "watcher_unwell" if minded.how is Heard.UNWELL else "watcher_silent"
    return Condition(minded.name, KIND, CATEGORY, True, since_at, sentence=sentence, parameters=parameters)


def returned(minded: Minded, now: Instant) -> Mapping[Key, Figures]:
    """Return the figures of the sentence that says that one answers again."""
    at = clock_text(now, minded.zone) + (" UTC" if minded.zone == "UTC" else "")
    return {(minded.name, KIND): {"unit_name": minded.name, "answered_text": at}}
