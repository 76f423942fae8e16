"""The journal, the rulebook rows to confirm, the site's own limits, and the people, as JSON."""

from typing import Annotated

from fastapi import APIRouter, Query

from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import is_looser, limit_fault
from api.actions.limits import set_limit
from api.actions.people import describe_person
from api.actions.signing import confirm_row
from api.answering import entry_answer, page_of
from api.answers import EntryAnswer, Page, PersonAnswer, RowAnswer, SiteLimitAnswer, Written
from api.auth.signed import Admin, Approver, OfficeHere, SignedIn
from api.doing import do
from api.office import Office
from api.routes.shared import REFUSALS, After, Limit, written
from api.schemas import ConfirmRow, DescribePerson, SetLimit

router = APIRouter(prefix="/api/v1", tags=["records"], responses=REFUSALS)


@router.get("/journal")
def list_journal(
    office: OfficeHere,
    who: SignedIn,
    limit: Limit = 100,
    after: Annotated[int, Query(ge=0, lt=2**53, description="The position `next` of the page before.")] = 0,
) -> Page[EntryAnswer]:
    """List what was decided, done and told, oldest first."""
    items, following = page_of(
        office.journal.read(after, limit + 1), limit, entry_answer, lambda entry: str(entry.position)
    )
    return Page(items=items, next=following)


def rows_from_memory(office: Office) -> dict[str, list[str]]:
    """Return, by rulebook, the rows that nobody has compared with their document when the rulebook was shipped."""
    return {
        book.id: sorted(row.id for row in book.limits.values() if row.known == "memory")
        for book in office.rulebooks.values()
    }


@router.get("/rulebook-rows")
def list_rows(office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None) -> Page[RowAnswer]:
    """List the rows known only from memory, which hold at most until a named person has confirmed them."""
    kitchen = office.present.kitchen
    found = []
    for book in sorted(office.rulebooks.values(), key=lambda book: book.id):
        for row in rows_from_memory(office)[book.id]:
            limit_row, confirmed = book.limits[row], kitchen.confirmed.get((book.id, row))
            found.append(
                RowAnswer(
                    rulebook=book.id,
                    row=row,
                    printed=limit_row.printed,
                    source=limit_row.source,
                    confirmed_by=None if confirmed is None else confirmed.person,
                )
            )
    behind = [row for row in found if after is None or f"{row.rulebook} {row.row}" > after]
    items, following = page_of(behind, limit, lambda row: row, lambda row: f"{row.rulebook} {row.row}")
    return Page(items=items, next=following)


@router.post("/rulebook-rows/confirmations", status_code=201)
def confirm(request: ConfirmRow, office: OfficeHere, who: Approver) -> Written:
    """Say that a row was compared with its document."""
    rows = rows_from_memory(office)
    return written(do(office, lambda k: confirm_row(k, request, who.person, office.clock(), rows)))


def shipped_book(office: Office) -> Rulebook:
    """Return the shipped rulebook of the site's authority; US while no site is described."""
    site = next(iter(office.present.kitchen.sites.values()), None)
    return office.rulebooks[site.authority if site is not None else "US"]


@router.get("/site-limits")
def list_site_limits(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None
) -> Page[SiteLimitAnswer]:
    """List the limits that the site set for itself, with who did and why."""
    book, found = shipped_book(office), []
    for name, own in sorted(office.present.kitchen.site_limits.items()):
        row = book.limits.get(name)
        if own.value is None or row is None or (after is not None and name <= after):
            continue
        found.append(
            SiteLimitAnswer(
                limit=name,
                value=own.value,
                shipped=row.value,
                unit=row.unit,
                looser=is_looser(row, own.value),
                in_force=limit_fault(book, name, own.value, own.reason) is None,
                reason=own.reason,
                person=own.person,
            )
        )
    items, following = page_of(found, limit, lambda answer: answer, lambda answer: answer.limit)
    return Page(items=items, next=following)


@router.post("/site-limits", status_code=201)
def set_site_limit(request: SetLimit, office: OfficeHere, who: Approver) -> Written:
    """Set a limit of the site's own, or take it back; looser ones need a reason, and some are never looser."""
    book = shipped_book(office)
    return written(do(office, lambda k: set_limit(k, request, who.person, office.clock(), book)))


@router.get("/people")
def list_people(office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None) -> Page[PersonAnswer]:
    """List the people of the site, by the names that sign."""
    people = [p for name, p in sorted(office.present.kitchen.people.items()) if after is None or name > after]
    items, following = page_of(people, limit, PersonAnswer.model_validate, lambda person: person.id)
    return Page(items=items, next=following)


@router.post("/people", status_code=201)
def describe(request: DescribePerson, office: OfficeHere, who: Admin) -> Written:
    """Say who a person is and what they may do."""
    return written(do(office, lambda k: describe_person(k, request, who.person, office.clock())))
