"""Every entry of the journal in words, for people and inspectors; and which lots it concerns."""

from collections.abc import Callable
from typing import Any

from alerts.sentences import TITLES, clock_text, condition_text, sentence
from api.pages.telling_drill import WORDS as DRILL_WORDS
from api.pages.telling_making import WORDS as MAKING_WORDS
from api.pages.telling_watching import WORDS as WATCHING_WORDS
from api.pages.wording import DISPOSITIONS, degrees, short_text
from api.tonight import zone_of
from collector import events as e
from collector.events_making import BatchesMerged, BatchSplit
from collector.events_watching import AlarmExplained, AlarmShelved, AlarmUnshelved, UnitInService
from collector.kitchen import Kitchen
from collector.rota import RotaStep, hours_text

Words = Callable[[Any, Kitchen, str], str]
PROGRAM = {"watch": "the watch", "rules": "the rules", "system": "the program"}
MEASURED = {
    "temperature": "°C", "strength": "% salt", "ph": "pH", "aw": "water activity", "mass": "kg",
    "salt": "% salt of the water", "nitrite": "ppm residual nitrite",
}  # fmt: skip


def by_words(kitchen: Kitchen, by: str) -> str:
    """Return who wrote an entry."""
    person = kitchen.people.get(by)
    return person.name if person is not None else PROGRAM.get(by, by)


def unit_words(kitchen: Kitchen, unit: str | None) -> str:
    """Return a unit's name; the bench where there is none."""
    if unit is None:
        return "the bench"
    return kitchen.units[unit].name if unit in kitchen.units else unit


def _hand(event: e.HandReadingEntered, kitchen: Kitchen, zone: str) -> str:
    r = event.reading
    value = degrees(r.value) if r.measure == "temperature" else f"{r.value:g} {MEASURED.get(r.measure, '')}"
    what = r.lot or unit_words(kitchen, r.unit)
    tub = f", tub {r.tub}" if r.tub else ""
    return f"Measured by hand: {value}, {r.where}, {what}{tub}, with {r.probe}, at {clock_text(r.measured_at, zone)}."


def _moved(event: e.TubMoved, kitchen: Kitchen, zone: str) -> str:
    p = event.placement
    where = unit_words(kitchen, p.unit) if p.unit is not None else f"the bench (air about {degrees(p.bench_c)})"
    return f"{event.lot}: tub {p.tub} was carried to {where}."


def _placed(event: e.PlacementCorrected, kitchen: Kitchen, zone: str) -> str:
    places = "; ".join(f"{unit_words(kitchen, p.unit)} from {short_text(p.from_at, zone)}" for p in event.placements)
    return f"{event.lot}: where tub {event.tub} stood was corrected to {places}. Reason: {event.reason}"


def _action(event: e.CorrectiveActionEntered, kitchen: Kitchen, zone: str) -> str:
    a = event.action
    return (
        f"{event.lot}: corrective action for the excursion of {short_text(a.excursion_at, zone)}. Cause: {a.cause}. "
        f"Control regained: {a.control_regained}. Prevention: {a.prevention}. Food: {a.food_disposed}."
    )


def _answered(event: e.AlarmAcknowledged, kitchen: Kitchen, zone: str) -> str:
    there = f", there by {clock_text(event.arriving_at, zone)}" if event.arriving_at is not None else ""
    note = f" Note: {event.note}" if event.note else ""
    return f"Alarm {event.alarm} was answered: {event.answer}{there}.{note}"


def _returned(event: e.AlarmReturned, kitchen: Kitchen, zone: str) -> str:
    alarm = kitchen.alarm(event.alarm)
    figures = {**(alarm.condition.parameters if alarm is not None else {}), **event.parameters}
    return f"Alarm {event.alarm} is over. {sentence(event.sentence, figures, zone)}"


def _called(step: RotaStep, kitchen: Kitchen) -> str:
    hours = f" ({hours_text(step)})" if step.limited else ""
    return by_words(kitchen, step.person) + hours


def _told(event: e.AlarmTold, kitchen: Kitchen, zone: str) -> str:
    who, what = by_words(kitchen, event.person), f"alarm {event.alarm} ({event.occasion})"
    if event.state == "seen":
        return f"{who}: {what} was opened, by the {event.channel}."
    if event.state == "attempting":
        return f"{who} is being told of {what} by {event.channel}."
    took = "accepted" if event.state == "accepted" else f"not accepted {event.detail}".strip()
    return f"{who} was told of {what} by {event.channel}: {took}."


def _proposed(event: e.ProposalMade, kitchen: Kitchen, zone: str) -> str:
    p = event.proposal
    rules = ", ".join(dict.fromkeys(f.rule for f in p.findings if f.tier != "none"))
    until = f" until {short_text(p.new_end_at, zone)}" if p.new_end_at is not None else ""
    by = f" by {rules}" if rules else ""
    return f"{p.lot}: proposed to {DISPOSITIONS[p.disposition]}{until}{by}, rulebook {p.rulebook}."


def _signed(event: e.DispositionSigned, kitchen: Kitchen, zone: str) -> str:
    s = event.sign_off
    kept = f" It stands in {s.where_kept}." if s.where_kept else ""
    return f"{s.lot}: {by_words(kitchen, s.person)} signed: {DISPOSITIONS[s.disposition]}. Reason: {s.reason}.{kept}"


def _assigned(event: e.ChannelAssigned, kitchen: Kitchen, zone: str) -> str:
    a = event.assignment
    return f"{a.channel} measures {str(a.quantity).replace('_', ' ')} in {unit_words(kitchen, a.unit)}, {a.place}."


def _raised(event: e.AlarmRaised | e.AlarmChanged, kitchen: Kitchen, zone: str) -> str:
    c = event.condition
    name = f" {event.alarm} changed" if isinstance(event, e.AlarmChanged) else ""
    return f"Alarm{name}: {TITLES.get(c.kind, c.kind)}. {condition_text(c, zone)}"


WORDS: dict[type[Any], Words] = {
    e.SiteDescribed: lambda v, k, z: (
        f"Site described: {v.site.name}, rules of {v.site.authority}, time of {v.site.zone}."
    ),
    e.UnitDescribed: lambda v, k, z: f"Unit described: {v.unit.name}.",
    e.ChannelAssigned: _assigned,
    e.AssignmentEnded: lambda v, k, z: f"{v.channel} measures nothing of ours any more. Reason: {v.reason}",
    e.PersonDescribed: lambda v, k, z: f"Person described: {v.name} ({', '.join(v.roles) or 'may look'}).",
    e.RotaDescribed: lambda v, k, z: "Rota: " + ", then ".join(_called(s, k) for s in v.steps) + ".",
    e.RowConfirmed: lambda v, k, z: f"Row {v.row} of rulebook {v.rulebook} was compared with {v.document}.",
    e.BatchStarted: lambda v, k, z: (
        f"{v.lot} was started: {v.plan.name}, {v.as_made.meat_kg:g} kg, tubs "
        + ", ".join(f"{p.tub} in {unit_words(k, p.unit)}" for p in v.placements)
        + "."
    ),
    e.AsMadeCorrected: lambda v, k, z: f"{v.lot}: the as-made sheet was corrected. Reason: {v.reason}",
    e.StageBegun: lambda v, k, z: f"{v.lot}: stage {v.stage} began.",
    e.TubMoved: _moved,
    e.PlacementCorrected: _placed,
    e.HandReadingEntered: _hand,
    e.CorrectiveActionEntered: _action,
    **MAKING_WORDS,
    e.BatchEnded: lambda v, k, z: f"{v.lot} ended. {v.reason}",
    e.AlarmRaised: _raised,
    e.AlarmChanged: _raised,
    e.AlarmAcknowledged: _answered,
    e.AlarmReturned: _returned,
    e.AlarmTold: _told,
    **WATCHING_WORDS,
    **DRILL_WORDS,
    e.ProposalMade: _proposed,
    e.DispositionSigned: _signed,
    e.GapSuspected: lambda v, k, z: (
        f"Messages may have been lost from {short_text(v.from_at, z)} until {short_text(v.until_at, z)}: {v.cause}."
    ),
    e.ItemSetAside: lambda v, k, z: f"{v.item} was set aside: {v.reason}.",
}


def entry_words(entry: e.Entry, kitchen: Kitchen, zone: str) -> str:
    """Return an entry in words."""
    return WORDS[type(entry.event)](entry.event, kitchen, zone)


def lots_of(entry: e.Entry, kitchen: Kitchen) -> tuple[str, ...]:
    """Return the lots that an entry concerns."""
    event = entry.event
    if isinstance(event, e.AlarmRaised):
        return event.condition.lots
    if isinstance(event, e.AlarmAcknowledged | e.AlarmReturned | AlarmExplained | AlarmShelved | AlarmUnshelved):
        alarm = kitchen.alarm(event.alarm)
        return alarm.condition.lots if alarm is not None else ()
    if isinstance(event, UnitInService):
        return (event.lot,) if event.lot is not None else ()
    if isinstance(event, e.ProposalMade):
        return (event.proposal.lot,)
    if isinstance(event, e.DispositionSigned):
        return (event.sign_off.lot,)
    if isinstance(event, e.HandReadingEntered):
        return (event.reading.lot,) if event.reading.lot is not None else ()
    if isinstance(event, e.ChannelAssigned):
        return (event.assignment.lot,) if event.assignment.lot is not None else ()
    if isinstance(event, BatchSplit):
        return (event.lot, event.child)
    if isinstance(event, BatchesMerged):
        return (event.child, *dict.fromkeys(strand.lot for strand in event.strands))
    return (str(event.lot),) if hasattr(event, "lot") else ()


def zone_for(entry: e.Entry, kitchen: Kitchen) -> str:
    """Return the zone in which an entry's times are read."""
    event = entry.event
    return zone_of(kitchen, event.condition.unit) if isinstance(event, e.AlarmRaised) else zone_of(kitchen)
