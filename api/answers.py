"""What the JSON API says: every answer as a model. Instants go out as RFC 3339 in UTC."""

from datetime import UTC, datetime
from typing import Annotated, Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, PlainSerializer, WithJsonSchema

from collector.batches import AsMade, Plan, Stage, Where
from collector.findings import Disposition, Outcome, Tier
from collector.readings import Quantity

CAUTION = "Estimates only: local rules and a responsible or licensed person come first."
Item = TypeVar("Item")


def rfc3339(at: float) -> str:
    """Return an instant as RFC 3339 in UTC, to the millisecond where it has any."""
    text = datetime.fromtimestamp(at, UTC).isoformat(timespec="seconds" if at == int(at) else "milliseconds")
    return text.replace("+00:00", "Z")


Stamp = Annotated[
    float,
    PlainSerializer(rfc3339, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]


class Answer(BaseModel):
    """Anything said, read from the attributes of what we keep."""

    model_config = ConfigDict(from_attributes=True, frozen=True)


class Page(Answer, Generic[Item]):
    """Part of a list, and the cursor to ask on with; None at its end."""

    items: list[Item]
    next: str | None


class EstimateAnswer(Answer):
    lot: str
    at: Stamp
    likely_c: float
    lower_c: float
    upper_c: float
    claimed_low_c: float | None
    """The ends of the interval that is claimed to hold it with 90 %; no bound that anything is judged by."""
    claimed_high_c: float | None
    air_c: float | None


class AssignmentAnswer(Answer):
    channel: str
    quantity: Quantity
    unit: str
    place: str
    from_at: Stamp
    until_at: Stamp | None
    offset_c: float
    interval_s: float
    uncertainty_c: float
    lot: str | None
    tub: str | None


class StoppedAnswer(Answer):
    """When a batch would pass its limit if cooling stopped now; None for never, and for what is not known."""

    lot: str
    early_at: Stamp | None
    likely_at: Stamp | None
    late_at: Stamp | None
    learned: bool


class OutOfServiceAnswer(Answer):
    since_at: Stamp
    by: str
    reason: str


class WorkAnswer(Answer):
    """Planned cleaning or loading that goes on, or is to come."""

    id: str
    what: str
    from_at: Stamp
    until_at: Stamp
    by: str
    note: str


class UnitAnswer(Answer):
    id: str
    name: str
    kind: str
    site: str
    limit_c: float
    sentence: str
    estimates: list[EstimateAnswer]
    if_cooling_stopped: list[StoppedAnswer]
    batches: list[str]
    alarms: list[str]
    channels: list[AssignmentAnswer]
    out_of_service: OutOfServiceAnswer | None
    planned_work: list[WorkAnswer]
    caution: str = CAUTION


class BatchSummary(Answer):
    lot: str
    name: str
    stage: Stage
    units: list[str]
    started_at: Stamp
    cure_end_at: Stamp
    ended_at: Stamp | None
    disposition: Disposition | None
    signed: bool


class PlacementAnswer(Answer):
    tub: str
    unit: str | None
    from_at: Stamp
    until_at: Stamp | None
    bench_c: float | None


class StageAnswer(Answer):
    stage: Stage
    from_at: Stamp
    until_at: Stamp | None


class HandReadingAnswer(Answer):
    measured_at: Stamp
    measure: str
    value: float
    where: Where
    probe: str
    lot: str | None
    unit: str | None
    tub: str | None


class CorrectiveActionAnswer(Answer):
    excursion_at: Stamp
    cause: str
    control_regained: str
    prevention: str
    food_disposed: str


class PointAnswer(Answer):
    at: Stamp
    core_c: float


class CoreLogAnswer(Answer):
    stage: str
    probe: str
    points: list[PointAnswer]
    person: str
    note: str


class SoakAnswer(Answer):
    from_at: Stamp
    until_at: Stamp
    water_c: float
    person: str


class LabelAnswer(Answer):
    words: str
    cook_before_eating: bool
    applied_at: Stamp
    person: str


class DisposalAnswer(Answer):
    mass_kg: float
    how: str
    witness: str
    disposed_at: Stamp
    person: str


class PlanChangeAnswer(Answer):
    changed_at: Stamp
    person: str
    reason: str
    before: Plan


class EvidenceAnswer(Answer):
    from_at: Stamp
    until_at: Stamp
    channels: tuple[str, ...]
    readings: int
    gap_s: float
    measure: str
    value: float | None
    unit: str
    threshold: float | None


class FindingAnswer(Answer):
    rule: str
    outcome: Outcome
    tier: Tier
    text: str
    limits: tuple[str, ...]
    add_s: float
    evidence: EvidenceAnswer


class ProposalAnswer(Answer):
    position: int
    at: Stamp
    disposition: Disposition
    text: list[str]
    findings: list[FindingAnswer]
    judged_until_at: Stamp
    rulebook: str
    software: str
    add_s: float
    new_end_at: Stamp | None
    decide_by_at: Stamp | None
    blocks_release: bool


class SignOffAnswer(Answer):
    position: int
    at: Stamp
    person: str
    disposition: Disposition
    reason: str
    proposal: int
    where_kept: str


class BatchAnswer(BatchSummary):
    plan: Plan
    as_made: AsMade
    placements: list[PlacementAnswer]
    stages: list[StageAnswer]
    hand_readings: list[HandReadingAnswer]
    actions: list[CorrectiveActionAnswer]
    core_logs: list[CoreLogAnswer]
    soaks: list[SoakAnswer]
    labels: list[LabelAnswer]
    disposals: list[DisposalAnswer]
    plan_changes: list[PlanChangeAnswer]
    proposal: ProposalAnswer | None
    may_sign: list[Disposition]
    sign_offs: list[SignOffAnswer]
    caution: str = CAUTION


class ShelvingAnswer(Answer):
    """By whom an alarm is shelved, until when, and why."""

    from_at: Stamp
    until_at: Stamp
    by: str
    reason: str


class AlarmAnswer(Answer):
    id: str
    state: str
    unit: str
    kind: str
    category: str
    wakes: bool
    text: str
    looks_like: str
    first_steps: list[str]
    lots: tuple[str, ...]
    since_at: Stamp
    raised_at: Stamp
    early_at: Stamp | None
    likely_at: Stamp | None
    acknowledged_at: Stamp | None
    acknowledged_by: str
    answer: str
    arriving_at: Stamp | None
    returned_at: Stamp | None
    shelved: ShelvingAnswer | None
    caution: str = CAUTION


class ChannelAnswer(Answer):
    channel: str
    unit: str
    first_at: Stamp
    last_at: Stamp
    last_value: float
    topic: str
    assignment: AssignmentAnswer | None


class ReadingAnswer(Answer):
    measured_at: Stamp
    value: float
    received_at: Stamp
    doubts: list[str]


class EntryAnswer(Answer):
    position: int
    at: Stamp
    recorded_at: Stamp
    by: str
    kind: str
    body: dict[str, Any]


class RowAnswer(Answer):
    rulebook: str
    row: str
    printed: str
    source: str
    confirmed_by: str | None


class SiteLimitAnswer(Answer):
    """A limit of the site's own; `looser` ones are printed on every record that they touch."""

    limit: str
    value: float
    shipped: float
    unit: str
    looser: bool
    in_force: bool
    reason: str
    person: str


class CompositionAnswer(Answer):
    """What a person read on the bag of a lot of curing salt."""

    curing_salt_lot: str
    nitrite_percent: float
    nitrate_percent: float
    person: str
    confirmed_at: Stamp


class PersonAnswer(Answer):
    id: str
    name: str
    roles: tuple[str, ...]


class PartAnswer(Answer):
    name: str
    state: str
    since_at: Stamp
    sentence: str
    numbers: dict[str, float]


class HealthAnswer(Answer):
    works: bool
    parts: list[PartAnswer]


class Works(Answer):
    works: bool


class Written(Answer):
    """The journal positions at which it was written."""

    entries: list[int]


class FaultAnswer(Answer):
    field: str
    what: str
    mend: str


class Refusal(Answer):
    """Why nothing was done."""

    error: str
    faults: list[FaultAnswer] = []
