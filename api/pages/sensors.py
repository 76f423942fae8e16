"""Instruments: each with its last check and the next, the button that takes a sensor out, and the form of a check."""

from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from api.actions.checking import assigned_now, enter_check, put_back, take_out
from api.auth.signed import OfficeHere, Operator
from api.doing import book_of
from api.instruments_now import InstrumentNow, instruments_now
from api.office import Office
from api.pages.forms import Field, Form, Kind, carry_out
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.telling import unit_words
from api.pages.wording import date_text, short_text
from api.schemas_daily import EnterCheck, PutBack, TakeOut
from api.tonight import zone_of
from collector.kitchen import Kitchen
from collector.sample import Instant

router = APIRouter()
DONE = {
    "out": "It is under test: its readings count for nothing until it is put back. Watch the food by hand meanwhile.",
    "back": "It stands in its place again. Enter what the check found.",
    "checked": "The check is written down; every batch judged by it is judged again.",
}
NOW = "Leave it empty for now."
HAND = (("probe", "a hand probe"), ("scale", "a scale"))


@dataclass(frozen=True, slots=True)
class InstrumentLine:
    """One instrument in words."""

    name: str
    channel: str
    state: str
    """In words; empty where nothing asks for anybody."""
    words: str
    since: str
    move: Form | None
    check: Form | None


@dataclass(frozen=True, slots=True)
class SensorsContext:
    """Context of the page."""

    done: str
    lines: tuple[InstrumentLine, ...]
    by_hand: Form | None


def out_form(channel: str, row: int) -> Form:
    """Return the button that takes a sensor out."""
    return Form(f"out-{row}", "Under test", "/sensors/out", "Under test", (Field("channel", "", Kind.HIDDEN),),
                {"channel": channel})  # fmt: skip


def back_form(channel: str, row: int) -> Form:
    """Return the form that puts a sensor back."""
    fields = (Field("until_at", "Since", Kind.WHEN, NOW, optional=""), Field("channel", "", Kind.HIDDEN))
    return Form(f"back-{row}", "Put back", "/sensors/back", "It is back in its place", fields, {"channel": channel})


def _figures(unit: str) -> tuple[Field, ...]:
    return (
        Field("reference", "Compared with", hint="Melting ice; a reference, with its number.", needed=True),
        Field("as_found", "As found, off by", Kind.NUMBER, "What it showed less the reference.", unit=unit,
              needed=True, half=True),
        Field("as_left", "As left, off by", Kind.NUMBER, unit=unit, needed=True, half=True),
        Field("checked_at", "When", Kind.WHEN, NOW, optional="", half=True),
        Field("due_at", "Next due", Kind.WHEN, "Empty: as the rulebook says.", optional="", half=True),
    )  # fmt: skip


def check_form(channel: str, row: int) -> Form:
    """Return the form of a sensor's check."""
    fields = (*_figures("K"), Field("instrument", "", Kind.HIDDEN), Field("kind", "", Kind.HIDDEN))
    values = {"instrument": channel, "kind": "channel"}
    note = "Press “Under test” before it is taken out, or the ice counts as the air of the room."
    return Form(f"check-{row}", "Enter a check", "/sensors/check", "Write it down", fields, values, note=note)


def hand_form() -> Form:
    """Return the form of a check of a hand probe or a scale."""
    fields = (
        Field("instrument", "Which one, as it is written on it", needed=True, half=True),
        Field("kind", "It is", Kind.CHOICE, options=HAND, needed=True, half=True),
        *_figures("K or g"),
        Field("tolerance", "Let pass, of a scale", Kind.NUMBER, "Of a probe the rulebook says it.", unit="g"),
    )
    return Form("check-hand", "Check a hand probe or a scale", "/sensors/check", "Write it down", fields,
                {"kind": "probe"})  # fmt: skip


def _state(one: InstrumentNow, zone: str, now: Instant) -> str:
    if one.out_since is not None:
        return f"under test since {short_text(one.out_since, zone)}: nothing is known from it"
    if one.due_at is None or one.state not in ("overdue", "due soon"):
        return ""
    day = date_text(one.due_at, zone)
    days = max(1, round(abs(one.due_at - now) / 86_400.0))
    plural = "day" if days == 1 else "days"
    if one.state == "overdue":
        return f"check overdue by {days} {plural}, since {day}"
    return f"check due in {days} {plural}, on {day}"


def _words(one: InstrumentNow, zone: str) -> str:
    check = one.check
    if check is None:
        due = "" if one.due_at is None else f" First check due {date_text(one.due_at, zone)}."
        return f"No check is written down.{due}"
    unit = "g" if one.kind == "scale" else "K"
    found, left = (f"{value:+g} {unit}".replace("-", "−") for value in (check.as_found, check.as_left))
    verdict = "within" if check.passed else "OUTSIDE"
    return (
        f"Checked {short_text(check.checked_at, zone)} with {check.reference}: as found {found}, {verdict} "
        f"±{check.tolerance:g} {unit}; as left {left}. Next due {date_text(check.due_at, zone)}."
    )


def _since(one: InstrumentNow) -> str:
    """Return what is said of food judged by an instrument since its last check."""
    if not one.lots:
        return ""
    lots = ", ".join(one.lots)
    if one.kind != "channel":
        return f"Measured by it since: {lots}. If it is found off, look at those readings again; when in doubt, hold."
    return (
        f"Judged by it since: {lots}. If the next check finds it off beyond its tolerance, the error is taken off "
        "all these readings and each batch is judged again."
    )


def _line(kitchen: Kitchen, one: InstrumentNow, row: int, frame: Frame, now: Instant) -> InstrumentLine:
    zone, fixed = zone_of(kitchen), one.kind == "channel"
    name = f"{unit_words(kitchen, one.unit)}: {one.place}" if one.unit is not None else f"{one.instrument} ({one.kind})"
    move = None
    if frame.operates and fixed:
        move = back_form(one.instrument, row) if one.out_since is not None else out_form(one.instrument, row)
    check = check_form(one.instrument, row) if frame.operates and fixed and one.thermometer else None
    words = _words(one, zone) if one.thermometer or one.kind == "scale" else ""
    state = _state(one, zone, now) if one.thermometer or one.kind == "scale" or one.out_since is not None else ""
    since = _since(one) if one.thermometer else ""
    return InstrumentLine(name, one.instrument if fixed else "", state, words, since, move, check)


def context(office: Office, frame: Frame, done: str = "", refused: Form | None = None) -> SensorsContext:
    """Return what the page shows; a refused form takes the place of the one for the same instrument."""
    kitchen, now = office.present.kitchen, office.clock()
    every = instruments_now(kitchen, lambda unit: book_of(office, kitchen, unit), now)
    lines = [_line(kitchen, one, row, frame, now) for row, one in enumerate(every)]
    by_hand = hand_form() if frame.operates else None
    if refused is not None and refused.id == "check-hand":
        by_hand = refused
    elif refused is not None:
        channel = refused.value("channel") or refused.value("instrument")
        lines = [_with(one, refused) if one.channel == channel else one for one in lines]
        if all(one.channel != channel for one in lines):
            lines.insert(0, InstrumentLine(channel, channel, "nobody has assigned it", "", "", refused, None))
    return SensorsContext(DONE.get(done, ""), tuple(lines), by_hand)


def _with(line: InstrumentLine, refused: Form) -> InstrumentLine:
    if refused.action.endswith("check"):
        return replace(line, check=refused)
    return replace(line, move=refused)


def _row(office: Office, channel: str) -> int:
    kitchen = office.present.kitchen
    every = instruments_now(kitchen, lambda unit: book_of(office, kitchen, unit), office.clock())
    return next((row for row, one in enumerate(every) if one.instrument == channel), len(every))


@router.get("/sensors")
def sensors(office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page."""
    return show("sensors.html", context(office, frame, done), frame)


@router.post("/sensors/out")
def out(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Take a sensor out to be checked."""
    channel = typed.get("channel", "")
    refused = carry_out(
        office, out_form(channel, _row(office, channel)), typed, zone_of(office.present.kitchen), TakeOut,
        lambda kitchen, asked: take_out(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    return _answer(office, frame, refused, "out")


@router.post("/sensors/back")
def back(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Put a sensor back."""
    channel = typed.get("channel", "")
    refused = carry_out(
        office, back_form(channel, _row(office, channel)), typed, zone_of(office.present.kitchen), PutBack,
        lambda kitchen, asked: put_back(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    return _answer(office, frame, refused, "back")


@router.post("/sensors/check")
def check(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Enter what a check found."""
    kitchen, name = office.present.kitchen, typed.get("instrument", "")
    fixed, one = typed.get("kind") == "channel", assigned_now(kitchen, name)
    book = book_of(office, kitchen, one.unit if one is not None else next(iter(kitchen.units), None))
    form = check_form(name, _row(office, name)) if fixed else hand_form()
    refused = carry_out(
        office, form, typed, zone_of(kitchen), EnterCheck,
        lambda kitchen, asked: enter_check(kitchen, asked, signed.person, office.clock(), book),
    )  # fmt: skip
    return _answer(office, frame, refused, "checked")


def _answer(office: Office, frame: Frame, refused: Form | None, done: str) -> Response:
    if refused is not None:
        return show("sensors.html", context(office, frame, refused=refused), frame, 422)
    return RedirectResponse(f"/sensors?done={done}", 303)
