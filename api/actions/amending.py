"""An approver changes a batch's plan, with a reason: its route above all. Pure: no clock, no I/O."""

from dataclasses import replace

from alerts.plan_limits import refusals
from alerts.rulebook.book import Rulebook
from alerts.rules_release import LOCKED
from api.actions.faults import Check, Faults, Result, fault, living
from api.actions.making import check_plan, plan_of
from api.actions.signing import APPROVER, REASON_MIN
from api.schemas import PlanRequest, WindowRequest
from api.schemas_making import AmendPlan
from collector.batches import Batch, Plan, Route
from collector.events_making import PlanChanged
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

INSIDE = {"opened": True, "whole": False}


def route_locked(kitchen: Kitchen, lot: str) -> bool:
    """Return whether a batch was once proposed to be cooked or discarded: its route is cooked, or nothing."""
    records = kitchen.proposals.get(lot, ())
    return any(found.sentence == LOCKED for record in records for found in record.proposal.findings)


def _as_request(plan: Plan) -> PlanRequest:
    """Return a plan as it would be sent."""
    windows = tuple(
        WindowRequest(
            stage=window.stage,
            lowest_c=window.lowest_c,
            highest_c=window.highest_c,
            longest_days=window.longest_s / 86_400.0,
            source=window.source,
        )
        for window in plan.windows
    )
    said = {name: getattr(plan, name) for name in PlanRequest.model_fields if hasattr(plan, name)}
    said |= {
        "windows": windows,
        "cure_days": plan.cure_s / 86_400.0,
        "soak_hours": plan.soak_s / 3600.0,
        "tau_hours": None if plan.tau_s is None else plan.tau_s / 3600.0,
    }
    return PlanRequest.model_construct(**said)


def amended(batch: Batch, request: AmendPlan) -> tuple[PlanRequest, Plan]:
    """Return the plan that a batch would have, as it would be sent and as it would be recorded."""
    before = batch.plan
    given = {
        name: getattr(request, name)
        for name in AmendPlan.model_fields
        if name not in ("reason", "inside", "windows") and getattr(request, name) is not None
    }
    kept = _as_request(before)
    stages = {window.stage for window in request.windows}
    windows = (*request.windows, *(window for window in kept.windows if window.stage not in stages))
    opened = before.opened if request.inside is None else INSIDE[request.inside]
    sent = kept.model_copy(update={**given, "windows": windows, "opened": opened})
    plan = replace(plan_of(sent), cure_s=before.cure_s, tau_s=before.tau_s, soak_s=before.soak_s)
    return sent, plan


def amend_plan(
    kitchen: Kitchen, lot: str, request: AmendPlan, person: Person, now: Instant, book: Rulebook | None = None
) -> Result:
    """Return that an approver signed another plan; a batch that is to be cooked or discarded keeps to that.

    With the site's rulebook, a change after which a plan can work no longer is refused.
    """
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    if APPROVER not in person.roles:
        return fault("reason", f"{person.name} is no approver", "ask an approver to change the plan")
    sent, plan = amended(batch, request)
    check = Check()
    check_plan(check, sent, prefix="")
    if book is not None:
        # What could not work before is no reason to refuse a change that mends something else.
        before = refusals(batch.plan, book)
        for one in refusals(plan, book):
            check.that(one in before, one.field, one.what, one.mend)
    check.that(plan != batch.plan, "reason", "this is the plan as it stands", "change what is wrong or missing")
    check.that(
        len(request.reason) >= REASON_MIN, "reason", "this reason is too short to stand up next year",
        "say what has changed and why",
    )  # fmt: skip
    turned = plan.route is not batch.plan.route and plan.route is not Route.COOKED
    check.that(
        not (turned and route_locked(kitchen, lot)), "route", f"{lot} is to be cooked or discarded",
        "choose cooked, or dispose of it",
    )  # fmt: skip
    return check.result(person, now, [PlanChanged(lot, plan, request.reason)])
