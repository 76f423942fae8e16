"""Channels to claim: what sends and nobody has said what it measures; and those that are claimed."""

from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from api.actions.channels import assign_channel, end_assignment
from api.auth.signed import Admin, OfficeHere
from api.office import Office
from api.pages.batch_forms import unit_options
from api.pages.forms import Field, Form, Kind, carry_out
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.telling import unit_words
from api.pages.wording import ago_text
from api.schemas import AssignChannel, EndAssignment
from api.tonight import zone_of
from collector.kitchen import Kitchen
from collector.readings import BASE_UNIT, Assignment
from collector.sample import Refusal
from collector.storage import ChannelSeen

router = APIRouter()
DONE = {"claimed": "The channel is claimed.", "ended": "The channel measures nothing of ours any more."}
SENT = {"Cel": "°C", "%RH": "%RH", "1": "(open 1, shut 0)", "%EL": "% of battery", "kg": "kg"}
REFUSED_SHOWN, REFUSED_LOOK = 20, 2000


@dataclass(frozen=True, slots=True)
class Unclaimed:
    """A channel to claim."""

    channel: str
    words: str
    form: Form | None


@dataclass(frozen=True, slots=True)
class Claimed:
    """A channel that measures something of ours."""

    channel: str
    unit: str
    unit_name: str
    words: str
    form: Form | None


@dataclass(frozen=True, slots=True)
class RefusedMessage:
    """A message that could not be read, kept as it came."""

    topic: str
    words: str


@dataclass(frozen=True, slots=True)
class ChannelsContext:
    """Context of the page."""

    done: str
    unclaimed: tuple[Unclaimed, ...]
    claimed: tuple[Claimed, ...]
    refused: tuple[RefusedMessage, ...]


def claim_form(kitchen: Kitchen, seen: ChannelSeen, row: int) -> Form:
    """Return the form that claims a channel; it offers what fits the unit in which it sends."""
    fits = tuple((q.value, q.value.replace("_", " ")) for q, unit in BASE_UNIT.items() if unit == seen.unit)
    every = tuple((q.value, q.value.replace("_", " ")) for q in BASE_UNIT)
    living = ((lot, lot) for lot, batch in sorted(kitchen.batches.items()) if batch.ended_at is None)
    lots = (("", "none: it stands in the unit"), *living)
    fields = (
        Field("quantity", "It measures", Kind.CHOICE, options=fits or every, needed=True, half=True),
        Field("unit", "In", Kind.CHOICE, options=unit_options(kitchen), needed=True, half=True),
        Field("place", "Place, in words", hint="By the evaporator; in the brine of tub 1.", needed=True),
        Field("interval_s", "Sends every", Kind.NUMBER, unit="s", needed=True, half=True),
        Field("uncertainty_c", "May be off by", Kind.NUMBER, unit="K", needed=True, half=True),
        Field("offset_c", "Correction to add", Kind.NUMBER, unit="K", half=True),
        Field("from_at", "Since", Kind.WHEN, "Leave it empty for now.", half=True),
        Field("lot", "Probe in a batch", Kind.CHOICE, options=lots, half=True),
        Field("tub", "and tub", half=True),
        Field("channel", "Channel", Kind.HIDDEN),
    )
    values = {"channel": seen.channel, "interval_s": "60", "uncertainty_c": "0.5"}
    return Form(f"claim-{row}", "Claim it", "/channels/claim", "Claim the channel", fields, values)


def end_form(channel: str, row: int) -> Form:
    """Return the form that ends an assignment."""
    fields = (
        Field("reason", "Why", Kind.WORDS, needed=True),
        Field("until_at", "Until", Kind.WHEN, "Leave it empty for now."),
        Field("channel", "Channel", Kind.HIDDEN),
    )
    return Form(f"unclaim-{row}", "Taken away", "/channels/end", "Write it down", fields, {"channel": channel})


def _unclaimed(kitchen: Kitchen, seen: ChannelSeen, row: int, frame: Frame, now: float) -> Unclaimed:
    value = f"{seen.last_value:g} {SENT.get(seen.unit, seen.unit)}".replace("-", "−")
    words = f"{value}, {ago_text(seen.last_at, now)}; topic {seen.topic}"
    return Unclaimed(seen.channel, words, claim_form(kitchen, seen, row) if frame.administers else None)


def _claimed(kitchen: Kitchen, a: Assignment, row: int, frame: Frame) -> Claimed:
    batch = f", in {a.lot}, tub {a.tub}" if a.lot is not None else ""
    offset = f"; corrected by {a.offset_c:+g} K".replace("-", "−") if a.offset_c else ""
    words = f"{str(a.quantity).replace('_', ' ')}, {a.place}{batch}; every {a.interval_s:g} s{offset}"
    form = end_form(a.channel, row) if frame.administers else None
    return Claimed(a.channel, a.unit, unit_words(kitchen, a.unit), words, form)


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text[:200])


def _refused(office: Office) -> tuple[RefusedMessage, ...]:
    head = office.readings.head()
    late = office.readings.refused(max(0, head - REFUSED_LOOK), REFUSED_LOOK)[-REFUSED_SHOWN:]
    return tuple(
        RefusedMessage(_printable(a.message.topic), a.outcome.reason)
        for a in reversed(late)
        if isinstance(a.outcome, Refusal)
    )


def context(office: Office, frame: Frame, done: str = "", refused: Form | None = None) -> ChannelsContext:
    """Return what the page shows; a refused form takes the place of the one for the same channel."""
    kitchen, now = office.present.kitchen, office.clock()
    open_ = {a.channel: a for a in kitchen.assignments if a.until_at is None}
    seen = [s for s in office.readings.channels() if s.channel not in open_]
    unclaimed = tuple(_unclaimed(kitchen, s, row, frame, now) for row, s in enumerate(seen))
    claimed = tuple(_claimed(kitchen, a, row, frame) for row, (_, a) in enumerate(sorted(open_.items())))
    if refused is not None:
        channel, form = refused.value("channel"), refused
        unclaimed = tuple(replace(u, form=form) if u.channel == channel else u for u in unclaimed)
        claimed = tuple(replace(u, form=form) if u.channel == channel else u for u in claimed)
        if channel not in {u.channel for u in unclaimed} | {c.channel for c in claimed}:
            unclaimed = (Unclaimed(channel, "nothing has ever arrived on it", form), *unclaimed)
    return ChannelsContext(DONE.get(done, ""), unclaimed, claimed, _refused(office))


@router.get("/channels")
def channels(office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page."""
    return show("channels.html", context(office, frame, done), frame)


@router.post("/channels/claim")
def claimed(office: OfficeHere, frame: Framed, signed: Admin, typed: Typed) -> Response:
    """Say what a channel measures."""
    kitchen, channel = office.present.kitchen, typed.get("channel", "")
    every = office.readings.channels()
    row = next((row for row, s in enumerate(every) if s.channel == channel), -1)
    seen = every[row] if row >= 0 else ChannelSeen(channel, "", 0.0, 0.0, 0.0, "")
    refused = carry_out(
        office, claim_form(kitchen, seen, row), typed, zone_of(kitchen), AssignChannel,
        lambda kitchen, asked: assign_channel(
            kitchen, asked, signed.person, office.clock(), seen.unit if row >= 0 else None
        ),
    )  # fmt: skip
    if refused is not None:
        return show("channels.html", context(office, frame, refused=refused), frame, 422)
    return RedirectResponse("/channels?done=claimed", 303)


@router.post("/channels/end")
def ended(office: OfficeHere, frame: Framed, signed: Admin, typed: Typed) -> Response:
    """Say that a channel measures nothing of ours any more."""
    kitchen = office.present.kitchen
    refused = carry_out(
        office, end_form(typed.get("channel", ""), 0), typed, zone_of(kitchen), EndAssignment,
        lambda kitchen, asked: end_assignment(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    if refused is not None:
        return show("channels.html", context(office, frame, refused=refused), frame, 422)
    return RedirectResponse("/channels?done=ended", 303)
