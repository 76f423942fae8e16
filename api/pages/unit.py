"""The page of one unit: how it stands, what stands in it, its air, what watches it."""

import math
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from api.actions.measuring import enter_hand_reading
from api.auth.signed import OfficeHere, Operator
from api.doing import NotThere
from api.office import Office
from api.pages.alarms import AlarmCard, card_of
from api.pages.aside import UnitAside, unit_aside
from api.pages.forms import Field, Form, Kind, carry_out
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.stopped import Stopped, stopped_of
from api.pages.tonight import Standing, standing_words
from api.pages.wording import ago_text, degrees, left_text, long_text
from api.schemas import EnterHandReading
from api.tonight import unit_now, zone_of
from collector.readings import Assignment, Quantity

router = APIRouter()
DEGREES = (Quantity.AIR_TEMPERATURE, Quantity.PRODUCT_TEMPERATURE, Quantity.BRINE_TEMPERATURE)
DONE = {
    "hand": "The hand reading is written down.",
    "out": "It is out of service: nothing of it is told.",
    "back": "It is in service again.",
    "planned": "The work is planned.",
    "ended": "The work is over; air and door are told again.",
}


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """What watches the unit, and what it last said."""

    channel: str
    what: str
    last: str
    silent: bool


@dataclass(frozen=True, slots=True)
class UnitContext:
    """Context of the page."""

    id: str
    name: str
    kind: str
    sentence: str
    left: str
    urgent: bool
    limit: str
    alarms: tuple[AlarmCard, ...]
    stopped: Stopped
    stands: tuple[Standing, ...]
    channels: tuple[ChannelLine, ...]
    hand: Form | None
    aside: UnitAside
    done: str


def hand_form(unit: str) -> Form:
    """Return the form for a temperature of the unit's air, measured by hand."""
    fields = (
        Field("value", "The air in it reads", Kind.NUMBER, unit="°C", needed=True, half=True),
        Field("probe", "With which probe", needed=True, half=True),
        Field("measured_at", "When", Kind.WHEN, "Leave it empty for now."),
        Field("where", "Where", Kind.HIDDEN),
        Field("unit", "Unit", Kind.HIDDEN),
    )
    values = {"where": "air", "unit": unit}
    return Form("hand", "Enter a hand reading of the air", f"/units/{unit}/hand", "Write it down", fields, values)


def _line(office: Office, assignment: Assignment) -> ChannelLine:
    now = office.clock()
    last = office.readings.before(assignment.channel, now + 60.0)
    what = f"{str(assignment.quantity).replace('_', ' ')}, {assignment.place}"
    if last is None:
        return ChannelLine(assignment.channel, what, "nothing heard yet", True)
    if assignment.quantity in DEGREES:
        value = degrees(last.value + assignment.offset_c)
    elif assignment.quantity is Quantity.DOOR:
        value = "open" if last.value else "shut"
    else:
        value = f"{last.value:g}" + {Quantity.HUMIDITY: " %RH", Quantity.BATTERY: " %", Quantity.MASS: " kg"}.get(
            assignment.quantity, ""
        )
    silent = now - last.measured_at > max(900.0, 5 * assignment.interval_s)
    words = f"silent for {long_text(now - last.measured_at)}, last {value}" if silent else value
    return ChannelLine(assignment.channel, what, f"{words} ({ago_text(last.measured_at, now)})", silent)


def context(
    office: Office, frame: Frame, unit: str, done: str = "", form: Form | None = None, aside: Form | None = None
) -> UnitContext:
    """Return what the page shows."""
    kitchen, now = office.present.kitchen, office.clock()
    described = kitchen.units[unit]
    here = unit_now(kitchen, described, office.estimates(), office.limit_of(kitchen, described), now)
    alarms = (a for a in kitchen.alarms.values() if a.condition.unit == unit)
    return UnitContext(
        id=unit,
        name=described.name,
        kind=described.kind,
        sentence=here.sentence,
        left=left_text(here.left_s, here.if_stays_s) if here.batches and here.estimates else "",
        urgent=math.isfinite(here.left_s),
        limit=degrees(here.limit_c),
        alarms=tuple(card_of(kitchen, alarm, now, frame.operates) for alarm in alarms),
        stopped=stopped_of(here, now, zone_of(kitchen, unit)),
        stands=tuple(standing_words(batch, kitchen, now) for batch in here.batches),
        channels=tuple(_line(office, a) for a in kitchen.assignments_of(unit, now)),
        hand=(form or hand_form(unit)) if frame.operates else None,
        aside=unit_aside(kitchen, unit, now, frame.operates, aside),
        done=DONE.get(done, ""),
    )


@router.get("/units/{unit}")
def unit_view(unit: str, office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page of one unit."""
    if unit not in office.present.kitchen.units:
        raise NotThere(f"no unit is called {unit}")
    return show("unit.html", context(office, frame, unit, done), frame)


@router.post("/units/{unit}/hand")
def unit_hand(unit: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Take a hand reading of the unit's air."""
    if unit not in office.present.kitchen.units:
        raise NotThere(f"no unit is called {unit}")
    sent = {**typed, "unit": unit, "where": "air"}
    refused = carry_out(
        office, hand_form(unit), sent, zone_of(office.present.kitchen, unit), EnterHandReading,
        lambda kitchen, asked: enter_hand_reading(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    if refused is not None:
        return show("unit.html", context(office, frame, unit, form=refused), frame, 422)
    return RedirectResponse(f"/units/{unit}?done=hand", 303)
