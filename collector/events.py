"""Every event of the journal as a frozen dataclass, and its bytes. Pure: no clock, no I/O.

An event says what was decided, done or told; it is dated when it became true. Bytes once written are kept for ever,
so a changed event gets a new version and an up-caster from the old one; `tests/unit/golden` holds bytes of every
version ever released.
"""

import json
from dataclasses import dataclass, fields
from functools import cache
from typing import Any, TypeAlias, get_args

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config

from collector.batches import (
    AsMade,
    CorrectiveAction,
    HandReading,
    Placement,
    Plan,
    Stage,
)
from collector.events_drill import Drilling
from collector.events_making import Making
from collector.events_versions import NEWER, STEPS
from collector.events_watching import Watching
from collector.findings import Condition, Proposal, SignOff
from collector.readings import Assignment, Site, Unit
from collector.rota import RotaStep
from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class SiteDescribed:
    """A site was described, or described anew."""

    site: Site


@dataclass(frozen=True, slots=True)
class UnitDescribed:
    """A unit was described, or described anew."""

    unit: Unit


@dataclass(frozen=True, slots=True)
class ChannelAssigned:
    """Somebody said what a channel measures; an earlier open assignment of it ends where this one begins."""

    assignment: Assignment


@dataclass(frozen=True, slots=True)
class AssignmentEnded:
    """A channel measures nothing of ours any more."""

    channel: str
    until_at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class PersonDescribed:
    """A person of the site, by the name that signs; how to reach them is kept apart and can be removed."""

    person: str
    name: str
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RotaDescribed:
    """Who is told, in which order and at which hours; hours are those of the site whose alarm it is."""

    steps: tuple[RotaStep, ...]


@dataclass(frozen=True, slots=True)
class RowConfirmed:
    """A named person compared a rulebook row with its document."""

    rulebook: str
    row: str
    document: str
    person: str


@dataclass(frozen=True, slots=True)
class BatchStarted:
    """Meat went into its tubs."""

    lot: str
    plan: Plan
    as_made: AsMade
    placements: tuple[Placement, ...]
    stage: Stage = Stage.CURE


@dataclass(frozen=True, slots=True)
class AsMadeCorrected:
    """The as-made sheet was completed or corrected; the first sheet stays where it was written."""

    lot: str
    as_made: AsMade
    reason: str


@dataclass(frozen=True, slots=True)
class StageBegun:
    """A batch went on to another stage."""

    lot: str
    stage: Stage
    from_at: Instant


@dataclass(frozen=True, slots=True)
class TubMoved:
    """A tub was carried to another unit, or out on the bench."""

    lot: str
    placement: Placement


@dataclass(frozen=True, slots=True)
class PlacementCorrected:
    """Where a tub stood was put right afterwards; the next judgement sees it."""

    lot: str
    tub: str
    placements: tuple[Placement, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class HandReadingEntered:
    """A person measured something and entered it."""

    reading: HandReading


@dataclass(frozen=True, slots=True)
class CorrectiveActionEntered:
    """A person said what was done about an excursion."""

    lot: str
    action: CorrectiveAction


@dataclass(frozen=True, slots=True)
class BatchEnded:
    """The batch left the cold rooms: finished, sold, eaten or thrown away."""

    lot: str
    ended_at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """Something abnormal began that needs a person; the alarm is named after this entry's position."""

    condition: Condition


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """A standing alarm became something that must be told anew."""

    alarm: str
    condition: Condition


@dataclass(frozen=True, slots=True)
class AlarmAcknowledged:
    """A person answered: going, passing on, or cannot."""

    alarm: str
    answer: str
    """`going`, `passing on` or `cannot`."""
    arriving_at: Instant | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class AlarmReturned:
    """What the alarm was about is normal again."""

    alarm: str
    sentence: str
    parameters: dict[str, float | int | str | None]


@dataclass(frozen=True, slots=True)
class AlarmTold:
    """How far the telling of one person by one channel has come; what is due and not begun is queued, and no event."""

    alarm: str
    occasion: str
    """What was told: `raised`, `changed 1`, `again 2`, `returned`."""
    person: str
    channel: str
    """The channel; of what was seen, `link` or `page`."""
    state: str
    """`attempting` (recorded before it is tried), then `accepted` or `failed`; `seen` when the person opened it."""
    detail: str = ""


@dataclass(frozen=True, slots=True)
class ProposalMade:
    """The rules came to another outcome for a batch."""

    proposal: Proposal


@dataclass(frozen=True, slots=True)
class DispositionSigned:
    """A named person decided."""

    sign_off: SignOff


@dataclass(frozen=True, slots=True)
class GapSuspected:
    """Messages may have been lost before they reached us."""

    from_at: Instant
    until_at: Instant
    cause: str


@dataclass(frozen=True, slots=True)
class ItemSetAside:
    """One unit, batch or message could not be worked on and was put aside so that the rest goes on."""

    item: str
    reason: str


Event: TypeAlias = (
    SiteDescribed
    | UnitDescribed
    | ChannelAssigned
    | AssignmentEnded
    | PersonDescribed
    | RotaDescribed
    | RowConfirmed
    | BatchStarted
    | AsMadeCorrected
    | StageBegun
    | TubMoved
    | PlacementCorrected
    | HandReadingEntered
    | CorrectiveActionEntered
    | Making
    | BatchEnded
    | AlarmRaised
    | AlarmChanged
    | AlarmAcknowledged
    | AlarmReturned
    | AlarmTold
    | Watching
    | Drilling
    | ProposalMade
    | DispositionSigned
    | GapSuspected
    | ItemSetAside
)

KINDS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Event)}
VERSIONS: dict[str, int] = dict.fromkeys(KINDS, 1) | NEWER
UP_CASTERS = STEPS


@dataclass(frozen=True, slots=True)
class Draft:
    """An event about to be appended: when it became true, and who or what says so."""

    at: Instant
    by: str
    """A person's id, `watch`, `rules` or `system`."""
    event: Event


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the journal."""

    position: int
    at: Instant
    recorded_at: Instant
    by: str
    event: Event


class UnreadableEntry(ValueError):
    """Bytes of the journal that this version cannot read; `position` says which."""

    def __init__(self, position: int, why: str) -> None:
        super().__init__(f"journal entry {position}: {why}")
        self.position = position


@cache
def _codec(kind: str) -> TypeAdapter[Any]:
    return TypeAdapter(with_config(ConfigDict(extra="forbid"))(KINDS[kind]))


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value


def encode(draft: Draft, recorded_at: Instant) -> bytes:
    """Return the canonical bytes of an event: JSON, keys sorted, no spaces, the same on every machine.

    Raises
    ------
    ValueError
        If a figure in it is not finite.
    """
    kind = type(draft.event).__name__
    line = {
        "kind": kind,
        "v": VERSIONS[kind],
        "at": round(draft.at, 3),
        "recorded_at": round(recorded_at, 3),
        "by": draft.by,
        "body": _codec(kind).dump_python(draft.event, mode="json"),
    }
    return json.dumps(
        _plain(line),
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
    ).encode()


def decode(position: int, line: bytes) -> Entry:
    """Return the entry that bytes hold, whatever version wrote them.

    Raises
    ------
    UnreadableEntry
        If the bytes are no entry, or a newer program's.
    """
    try:
        raw = json.loads(line)
        kind, version, body = str(raw["kind"]), int(raw["v"]), raw["body"]
        at, recorded_at, by = float(raw["at"]), float(raw["recorded_at"]), str(raw["by"])
    except (ValueError, KeyError, TypeError) as fault:
        raise UnreadableEntry(position, f"these bytes are no entry ({fault})") from fault
    if version < 1:
        raise UnreadableEntry(position, f"these bytes are no entry (version {version})")
    if kind not in KINDS or version > VERSIONS[kind]:
        raise UnreadableEntry(
            position,
            f"{kind} version {version} was written by a newer program; install that one",
        )
    while version < VERSIONS[kind]:
        body = UP_CASTERS[(kind, version)](body)
        version += 1
    try:
        event = _codec(kind).validate_json(json.dumps(body))
    except ValidationError as fault:
        raise UnreadableEntry(position, f"{kind} does not fit its version: {fault.error_count()} fields") from fault
    return Entry(position, at, recorded_at, by, event)


def named_fields(event: Event) -> tuple[str, ...]:
    """Return the field names of an event, in order."""
    return tuple(f.name for f in fields(event))
