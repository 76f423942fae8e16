"""What stands around every page: who looks, what the program itself lacks, what must not be used."""

from typing import Annotated

from fastapi import Depends, Request

from api.actions.standing import BLOCKING, standing
from api.auth.signed import Form as SentForm
from api.auth.signed import OfficeHere, Signed, SignedIn
from api.office import Office
from api.pages.rendering import Frame
from api.pages.wording import short_text
from api.tonight import zone_of
from collector.health import State
from collector.kitchen import Kitchen


def held_lots(kitchen: Kitchen) -> tuple[str, ...]:
    """Return the lots that must not be used: a hold or a reject binds them."""
    living = (lot for lot, batch in sorted(kitchen.batches.items()) if batch.ended_at is None)
    return tuple(lot for lot in living if standing(kitchen, lot).disposition in BLOCKING)


def waiting_drill(kitchen: Kitchen, person: str) -> str:
    """Return the latest drill that waits for a person's word; empty where none does."""
    return next((one.id for one in reversed(kitchen.drills.values()) if one.open and person in one.missing), "")


def frame_of(office: Office, signed: Signed | None, here: str = "") -> Frame:
    """Return what stands around a page now; the words of a public page name nobody and no lot."""
    kitchen = office.present.kitchen
    zone, site = zone_of(kitchen), kitchen.site_of(None)
    if signed is None:
        return Frame(notice=office.settings.notice, zone=zone, here=here)
    return Frame(
        person=signed.person,
        token=signed.token_for_forms,
        site=site.name if site is not None else "",
        zone=zone,
        notice=office.settings.notice,
        doubts=tuple(part.sentence for part in office.health() if part.state is State.FAILED),
        holds=held_lots(kitchen),
        drill=waiting_drill(kitchen, signed.person.id),
        here=here,
        now_text=short_text(office.clock(), zone),
    )


def framed(request: Request, office: OfficeHere, signed: SignedIn) -> Frame:
    """Return the frame for whoever has signed in."""
    return frame_of(office, signed, "/" + request.url.path.split("/")[1])


Framed = Annotated[Frame, Depends(framed)]


def plain(form: SentForm) -> dict[str, str]:
    """Return what a form of ours sent, as text by name; lines end as they do everywhere but in forms."""
    return {
        name: value.replace("\r\n", "\n")
        for name, value in form.items()
        if isinstance(value, str) and name != "form_token"
    }


Typed = Annotated[dict[str, str], Depends(plain)]
