"""Rule e-11: what must be shown before a batch is released, item by item. Pure: no clock, no I/O.

Each item is a finding of its own that says what is missing and how to give it. `cannot_tell` means that it has not been
shown; only a cook or a cooling that was shown to fail holds. What is given here is evidence by people: the plan that an
approver signed, core logs, measurements with their method, labels.
"""

from collections.abc import Sequence

from alerts.case import Case, finding, minutes
from alerts.rules_cure import cure_closed_at
from alerts.rules_kill import judge_cook, judge_cooling
from alerts.rules_uncooked import judge_aw, judge_parasites, judge_process
from collector.batches import Route
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

LOCKED = "e-3 cook or discard"
"""Sentence of a finding after which a batch is cooked or discarded."""
VEGETATIVE = ("e-2", "e-3 salmonella", "e-3 escherichia_coli", "e-3 listeria", "e-3 yersinia", "e-4")
"""Beginnings of rules whose organisms cooking kills, and of the excursion itself."""
BOUNDED = ("e-2", "e-3", "e-4", "e-5", "e-6")
"""Rules that judge unknown time at its bound: what they cannot tell has been looked at all the same."""
NOT_ASKED_FOR = ("e-8 protection", "e-9 brine", "e-9 meat", "e-10 sealed cannot tell")
"""Beginnings of sentences that may stay open: eaten as cured, water activity is asked for, and salt alone is not."""
SIGNED_FOR = ("e-8 too little", "e-8 methods differ")
"""Sentences about nitrite that an approver's reason answers; no other of them that asks for anything."""
UNCHECKED = ("e-12 overdue", "e-12 never checked")
"""Sentences about sensors that only a passing check answers; quarrels of neighbours are judged both ways."""
LIFTED_NEVER = ("e-1 no", "e-11 cook ", "e-11 process", "e-11 parasites", "e-11 aw", "e-11 label", "e-11 route locked")
"""Beginnings of sentences that no signature answers: what they ask for is shown, or nothing is released."""


def judge_release(case: Case, others: Sequence[Finding], protected: bool | None) -> tuple[Finding, ...]:
    """Return what a batch has shown and still has to show on its route.

    Parameters
    ----------
    case : Case
        The batch, up to the instant of judging.
    others : sequence of Finding
        What the other rules said of it.
    protected : bool or None
        Whether enough nitrite went in for the slower cooling; None where that cannot be told.
    """
    found = [_cure(case, others)]
    route = case.history.batch.plan.route
    if route is Route.COOKED:
        found += [judge_cook(case), judge_cooling(case, protected)]
    elif route is Route.UNCOOKED:
        found += [judge_process(case), *judge_parasites(case), judge_aw(case)]
    else:
        found.append(_label(case))
    return (*found, *_route(case, others))


def blocks(found: Finding) -> bool:
    """Return whether a finding stands in the way of a release."""
    if found.tier in (Tier.EXTEND, Tier.HOLD, Tier.REJECT) or found.sentence == "e-1 no rule":
        return True
    family = found.rule.split()[0]
    if family in ("e-1", "e-11"):
        return bool(found.parameters.get("blocks"))
    if family == "e-12":
        return found.sentence in UNCHECKED
    if family == "e-8" and found.tier is Tier.RECORDED:
        return True
    if found.sentence.startswith(NOT_ASKED_FOR):
        return False
    return found.outcome is Outcome.CANNOT_TELL and family not in BOUNDED


def may_lift(found: Finding) -> bool:
    """Return whether an approver's signature may answer a finding that stands in the way of a release."""
    if found.tier is Tier.REJECT or found.sentence == LOCKED or found.sentence.startswith(LIFTED_NEVER):
        return False
    if found.rule.startswith("e-8"):
        return found.sentence in SIGNED_FOR
    return found.tier in (Tier.EXTEND, Tier.HOLD) or found.sentence == "e-11 cure short"


def may_divert(findings: Sequence[Finding]) -> bool:
    """Return whether cooking would answer everything that holds or rejects a batch."""
    held = [found for found in findings if found.tier in (Tier.HOLD, Tier.REJECT)]
    return bool(held) and all(found.rule.startswith(VEGETATIVE) for found in held)


def _said(case: Case, sentence: str, outcome: Outcome, parameters: Parameters) -> Finding:
    """Return a finding that rests on what people have said, not on a record."""
    evidence = Evidence(case.history.batch.started_at, case.until_at, (), 0, 0.0, "what was said", None, "", None)
    said = outcome, Tier.NONE, sentence
    rule = "e-11 route" if sentence == "e-11 divert" else " ".join(sentence.split()[:2])
    return finding(case, rule, said, evidence, (), parameters)


def _cure(case: Case, others: Sequence[Finding]) -> Finding:
    """Return whether the cure has counted to its end."""
    history = case.history
    closed_at = cure_closed_at(case)
    if closed_at is None:
        closed_at = history.batch.ended_at
    clock = next((found for found in others if found.rule == "e-5"), None)
    until: Parameters = {"until_at": round(history.cure_end_at), "blocks": 1}
    if closed_at is None and case.until_at < history.cure_end_at:
        return _said(case, "e-11 cure not yet", Outcome.CANNOT_TELL, until)
    early = closed_at is not None and minutes(history.cure_end_at - closed_at) >= _slack(case)
    asked = clock is not None and (clock.tier in (Tier.EXTEND, Tier.HOLD) or clock.sentence == "e-5 ended short")
    if early or asked:
        return _said(case, "e-11 cure short", Outcome.OUTSIDE, {"blocks": 1})
    if clock is None or clock.outcome is not Outcome.WITHIN:
        return _said(case, "e-11 cure not known", Outcome.CANNOT_TELL, {"blocks": 0})
    return _said(case, "e-11 cure counted", Outcome.WITHIN, {"blocks": 0})


def _slack(case: Case) -> int:
    plan, book = case.history.batch.plan, case.book
    if plan.published_days:
        return 1
    return max(1, minutes(max(book.scaled("cure.slack"), book.scaled("cure.slack_share") * plan.cure_s)))


def _label(case: Case) -> Finding:
    labels = [label for label in case.history.batch.labels if label.applied_at <= case.said_until_at]
    if not labels:
        return _said(case, "e-11 label missing", Outcome.CANNOT_TELL, {"blocks": 1})
    last = max(labels, key=lambda label: label.applied_at)
    if not last.cook_before_eating:
        return _said(case, "e-11 label wrong", Outcome.OUTSIDE, {"blocks": 1})
    return _said(case, "e-11 label within", Outcome.WITHIN, {"blocks": 0})


def _route(case: Case, others: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return that a batch may only be cooked, or that it might be: an offer before it is discarded."""
    route = case.history.batch.plan.route
    if route is Route.COOKED:
        return ()
    if any(found.sentence == LOCKED for found in others):
        return (_said(case, "e-11 route locked", Outcome.OUTSIDE, {"route": route.value, "blocks": 1}),)
    if may_divert(others):
        return (_said(case, "e-11 divert", Outcome.OUTSIDE, {"blocks": 0}),)
    return ()
