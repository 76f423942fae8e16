"""What each rule of a rulebook says of a batch. Pure: no clock, no I/O.

The rules themselves stand in `alerts/rules_*.py`, one file for each family; here they are asked in order. A hold looks
at the likely estimate, and at its upper bound where nothing is known; a reject looks at the likely estimate less what
the sensor can tell, outside unknown time, and only at numbers that somebody has read in the document.
"""

from alerts.case import case_of
from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.rules_budget import judge_budgets
from alerts.rules_cold import judge_cold_chain
from alerts.rules_cure import judge_cure, judge_ice
from alerts.rules_growth import judge_growth
from alerts.rules_length import judge_length, judge_vessel
from alerts.rules_nitrite import judge_nitrite, nitrite_protected
from alerts.rules_release import judge_release
from alerts.rules_salt import judge_salt
from alerts.rules_stages import judge_stages
from alerts.rules_start import judge_brine_age, judge_start, start_of
from alerts.rules_unknown import judge_unknown
from collector.findings import Finding
from collector.sample import Instant


def judge(history: BatchHistory, rulebook: Rulebook, confirmed: frozenset[str], now: Instant) -> tuple[Finding, ...]:
    """Return what every rule says of a batch, by its rules' order; nothing after `now` is looked at.

    Parameters
    ----------
    history : BatchHistory
        What the meat has been through.
    rulebook : Rulebook
        The limits and rules to judge by.
    confirmed : frozenset of str
        Ids of rows from memory that a named person of the site compared with the document.
    now : float
        The instant of judging. [s since 1970 UTC]

    Returns
    -------
    tuple of Finding
        One e-1 for each stage that may be warm, and one for the heating of a cook; e-2; one e-3 for each hazard that
        counts; one e-4 for each organism whose growth is judged on the route; e-5 once the cure has begun, and its ice;
        e-6 where something is unknown; e-7, and the age of a boiled brine; e-8, with nitrate, what a laboratory found
        and whether the meat is nitrite-protected beside it; e-9 for a brine and for what is eaten uncooked; e-10 where
        it is sealed, in the cure for too long, or in a vessel that salt attacks; one e-11 for each item that its route
        asks for before a release.
        The same inputs give the same findings, digit for digit.
    """
    case = case_of(history, rulebook, confirmed, now)
    start = start_of(case)
    cold_chain = judge_cold_chain(case, start)
    warm = (cold_chain, *judge_budgets(case), *judge_growth(case))
    found = [*judge_stages(case), *warm, judge_cure(case), judge_ice(case)]
    found += [*judge_unknown(case, warm), judge_start(case, start), judge_brine_age(case)]
    found += [*judge_nitrite(case), *judge_salt(case), judge_length(case), judge_vessel(case)]
    said = tuple(one for one in found if one is not None)
    return (*said, *judge_release(case, said, nitrite_protected(case)))
