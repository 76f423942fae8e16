"""What has been put aside, in words and forms: shelved alarms, units out of service, planned cleaning and loading."""

from dataclasses import dataclass

from alerts.sentences import clock_text
from alerts.suspended import PRODUCT_MOST_S, SHELVED_MOST_S, SHELVED_S, longest_s, shelved, works_of
from api.actions.servicing import tubs_in
from api.pages.forms import Field, Form, Kind, local_field
from api.pages.wording import person_name, short_text
from api.tonight import out_words, zone_of
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant
from collector.suspensions import PlannedWork

WHAT = (("cleaning", "cleaning"), ("loading", "loading"))
WORK_S = 3600.0
"""House: how long the form for planned work begins with. [s]"""
SOON_S = 24 * 3600.0
"""House: work to come that *Tonight* lists. [s]"""


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One planned work in words, and the button that ends it."""

    words: str
    end: Form | None


@dataclass(frozen=True, slots=True)
class UnitAside:
    """What has been put aside of a unit, and the forms for it; a form that may not be used is None."""

    out: Form | None
    back: Form | None
    works: tuple[WorkLine, ...]
    plan: Form | None


@dataclass(frozen=True, slots=True)
class AsideLine:
    """One thing on *Tonight* of which something is not told now, or soon."""

    unit: str
    name: str
    words: str


def shelved_words(kitchen: Kitchen, alarm: Alarm, now: Instant, zone: str) -> str:
    """Return by whom, until when and why an alarm is shelved; empty where it is not."""
    one = shelved(alarm, now)
    if one is None:
        return ""
    until = clock_text(one.until_at, zone)
    by, since = person_name(kitchen, one.by), clock_text(one.from_at, zone)
    return f"Shelved by {by} at {since} until {until}: {one.reason.rstrip('. ')}."


def shelve_form(alarm: Alarm) -> Form:
    """Return the form in which an alarm is shelved."""
    most_s = longest_s(alarm)
    of_meat = alarm.condition.judges_product
    most = f"{PRODUCT_MOST_S / 3600:g} h in all" if of_meat else f"{SHELVED_MOST_S / 3600:g} h at a time"
    fields = (
        Field("reason", "Why nobody need hear of it meanwhile", Kind.WORDS, needed=True),
        Field("minutes", "For how long", Kind.NUMBER, f"At most {most}.", "min", needed=True, half=True),
    )
    note = "Meanwhile nobody is told of it. If it still stands, everybody concerned is told again."
    if of_meat:
        note += " If it becomes worse for the meat, at once."
    minutes = f"{min(SHELVED_S, most_s) // 60:g}"
    action = f"/alarms/{alarm.id}/shelve"
    return Form(
        f"shelve-{alarm.id}", "Shelve it for a time", action, "Shelve it", fields, {"minutes": minutes}, note=note
    )


def unshelve_form(alarm: str) -> Form:
    """Return the button that ends a shelving."""
    note = "If it still stands, everybody concerned is told again at once."
    address = f"/alarms/{alarm}/unshelve"
    return Form(f"unshelve-{alarm}", "End the shelving", address, "End the shelving now", (), note=note)


def form_of(kitchen: Kitchen, alarm: Alarm, now: Instant) -> Form | None:
    """Return the form that an alarm's page offers: to shelve it, or to end that; None where neither can be done."""
    if not alarm.active or alarm.id not in kitchen.alarms:
        return None
    if shelved(alarm, now) is not None:
        return unshelve_form(alarm.id)
    return shelve_form(alarm) if longest_s(alarm) >= 60.0 else None


def out_form(unit: str) -> Form:
    """Return the form that puts an empty unit out of service."""
    fields = (Field("reason", "Why", Kind.WORDS, needed=True),)
    note = "Nothing of it is told until a tub is put into it: then it is watched again at once."
    action = f"/units/{unit}/out-of-service"
    return Form("out", "Put it out of service", action, "Put it out of service", fields, note=note)


def back_form(unit: str) -> Form:
    """Return the button that puts a unit back into service."""
    return Form("back", "Back into service", f"/units/{unit}/in-service", "Put it back into service", ())


def plan_form(unit: str, now: Instant, zone: str) -> Form:
    """Return the form in which cleaning or loading is announced."""
    fields = (
        Field("what", "What is done", Kind.CHOICE, options=WHAT, needed=True),
        Field("from_at", "From", Kind.WHEN, "Leave it empty for now.", optional="", half=True),
        Field("until_at", "Until", Kind.WHEN, "At most 4 h.", needed=True, half=True),
        Field("note", "Note", optional="if any"),
    )
    note = "Meanwhile air far above its limit and an open door are not told. What is known of the meat still is."
    values = {"what": "cleaning", "until_at": local_field((now + WORK_S) // 60 * 60, zone)}
    return Form(
        "plan-work", "Plan cleaning or loading", f"/units/{unit}/planned-work", "Plan it", fields, values, note=note
    )


def end_form(work: PlannedWork, now: Instant) -> Form:
    """Return the button that ends planned work, or calls it off before it has begun."""
    fields = (Field("work", "", Kind.HIDDEN),)
    title, press = ("Call it off", "Call it off") if work.from_at > now else ("End it", "End it now")
    return Form(f"end-{work.id}", title, f"/units/{work.unit}/planned-work/end", press, fields, {"work": work.id})


def work_words(kitchen: Kitchen, work: PlannedWork, now: Instant) -> str:
    """Return planned work in words: `Cleaning until 15:00, planned by Mara: floor.`"""
    zone = zone_of(kitchen, work.unit)
    until = clock_text(work.over_at, zone)
    span = f"until {until}" if work.goes_on_at(now) else f"{short_text(work.from_at, zone)} until {until}"
    note = f": {work.note.rstrip('. ')}" if work.note else ""
    return f"{work.what.capitalize()} {span}, planned by {person_name(kitchen, work.by)}{note}."


def unit_aside(kitchen: Kitchen, unit: str, now: Instant, operates: bool, refused: Form | None = None) -> UnitAside:
    """Return what has been put aside of a unit; a form that was refused stands in place of a fresh one."""
    out, works = unit in kitchen.out_of_service, works_of(kitchen, unit, now)
    empty = not tubs_in(kitchen, unit, now)
    lines = tuple(WorkLine(work_words(kitchen, w, now), end_form(w, now) if operates else None) for w in works)
    fresh = {
        "out": out_form(unit) if operates and empty and not out else None,
        "back": back_form(unit) if operates and out else None,
        "plan-work": plan_form(unit, now, zone_of(kitchen, unit)) if operates else None,
    }
    if refused is not None and refused.id in fresh:
        fresh[refused.id] = refused
    elif refused is not None:
        lines = (*lines, WorkLine("", refused))
    return UnitAside(fresh["out"], fresh["back"], lines, fresh["plan-work"])


def aside_now(kitchen: Kitchen, now: Instant) -> tuple[AsideLine, ...]:
    """Return what *Tonight* lists: units out of service, and planned work that goes on or comes within a day."""
    lines = [
        AsideLine(unit, kitchen.units[unit].name, out_words(kitchen, unit))
        for unit in sorted(kitchen.out_of_service)
        if unit in kitchen.units
    ]
    for unit in sorted(kitchen.units):
        soon = (work for work in works_of(kitchen, unit, now) if work.from_at <= now + SOON_S)
        lines += [AsideLine(unit, kitchen.units[unit].name, work_words(kitchen, work, now)) for work in soon]
    return tuple(lines)
