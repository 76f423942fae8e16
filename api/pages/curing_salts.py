"""Curing salts: what people have read on the bags, and the form that enters it under one's own name."""

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from api.actions.composing import confirm_composition
from api.auth.signed import OfficeHere, Operator
from api.pages.forms import Field, Form, Kind, carry_out
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.telling import by_words
from api.pages.wording import short_text
from api.schemas import ConfirmComposition
from api.tonight import zone_of
from collector.kitchen import Kitchen

router = APIRouter()
SHOWN = 100
DONE = {"read": "It is written down under your name."}


@dataclass(frozen=True, slots=True)
class BagRead:
    """One reading of one bag."""

    lot: str
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class CuringSaltsContext:
    """Context of the page."""

    read: tuple[BagRead, ...]
    form: Form | None
    done: str = ""


def composition_form(lot: str = "") -> Form:
    """Return the form for what a bag of curing salt says."""
    fields = (
        Field("curing_salt_lot", "Lot of the curing salt, from the bag", needed=True, half=True),
        Field("nitrite_percent", "Nitrite (NaNO2)", Kind.NUMBER, unit="%", needed=True, half=True),
        Field("nitrate_percent", "Nitrate (NaNO3)", Kind.NUMBER, "Leave it empty where the bag names none.", unit="%",
              half=True),
    )  # fmt: skip
    note = "Read the bag yourself: where far more goes in than was planned, two different people must have read it."
    values = {"curing_salt_lot": lot}
    return Form("bag", "Read a bag of curing salt", "/curing-salts", "I have read it", fields, values, note=note)


def context(kitchen: Kitchen, frame: Frame, done: str = "", refused: Form | None = None) -> CuringSaltsContext:
    """Return what the page shows, the newest first."""
    zone = zone_of(kitchen)
    read = tuple(
        BagRead(
            one.curing_salt_lot,
            f"{one.nitrite_percent:g} % nitrite, {one.nitrate_percent:g} % nitrate",
            f"{by_words(kitchen, one.person)}, {short_text(one.confirmed_at, zone)}",
        )
        for one in reversed(kitchen.compositions[-SHOWN:])
    )
    form = (refused or composition_form()) if frame.operates else None
    return CuringSaltsContext(read, form, DONE.get(done, ""))


@router.get("/curing-salts")
def curing_salts(office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page."""
    return show("curing_salts.html", context(office.present.kitchen, frame, done), frame)


@router.post("/curing-salts")
def bag_read(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Enter what a bag says."""
    kitchen = office.present.kitchen
    refused = carry_out(
        office, composition_form(), typed, zone_of(kitchen), ConfirmComposition,
        lambda kitchen, asked: confirm_composition(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    if refused is not None:
        return show("curing_salts.html", context(kitchen, frame, refused=refused), frame, 422)
    return RedirectResponse("/curing-salts?done=read", 303)
