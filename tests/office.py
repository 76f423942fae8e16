"""A fixed kitchen for the tests of what people see: invented people and lots, a night on which a cold room warms."""

import math
from dataclasses import replace

import numpy as np

from alerts.history import BatchHistory
from alerts.rulebook.shelf import load
from alerts.trace import batch_history
from api.office import Estimate, Office, Settings
from collector import events as e
from collector.batches import AsMade, CorrectiveAction, HandReading, Method, Packing, Placement, Plan, Route, Where
from collector.events import Draft
from collector.findings import Condition, Disposition, Evidence, Finding, Outcome, Proposal, Tier
from collector.health import Part, State
from collector.kitchen import Kitchen
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.rota import RotaStep
from collector.sample import Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings, MemoryWorking

NOW = 1_795_590_600.0
"""2026-11-25T07:10:00Z: ten past two in the morning by the walls."""
DAY = 86_400.0
ZONE = "America/New_York"


class Clock:
    """A clock that tests set."""

    def __init__(self, now: float = NOW) -> None:
        self.now = now

    def __call__(self) -> float:
        return self.now


def plan(name: str, meat: str, cut: str, days: float, packing: Packing = Packing.UNDER_BRINE) -> Plan:
    wet = packing is Packing.UNDER_BRINE
    return Plan(
        name, meat, cut, Method.IMMERSION if wet else Method.DRY_BY_WEIGHT, packing, Route.COOKED, days * DAY, 55.0,
        meat_kg=3.0, water_kg=3.0 if wet else 0.0, salt_kg=0.3, sugar_kg=0.1, curing_salt_kg=0.019 if wet else 0.009,
        nitrite_percent=6.25, nitrate_percent=0.0, product_class="immersed" if wet else "bacon.dry",
    )  # fmt: skip


def sheet(brine_c: float | None = 3.8) -> AsMade:
    wet = brine_c is not None
    return AsMade(
        3.05, 3.0 if wet else None, 0.3, 0.1, 0.019 if wet else 0.009, "CS-0412", 6.25, brine_c, 3.1,
        "bench scale 2, 1 g", ("HF-2209",), 0.0,
    )  # fmt: skip


def finding(rule: str, outcome: Outcome, tier: Tier, sentence: str, parameters: dict[str, float | str]) -> Finding:
    evidence = Evidence(NOW - 5 * DAY, NOW, ("cold/air",), 7200, 0.0, "longest excursion", 4.5, "h", 4.0)
    return Finding(rule, outcome, tier, sentence, parameters, evidence, ("cold.limit",))


WITHIN = finding("e-2", Outcome.WITHIN, Tier.NONE, "e-2 within", {"limit_c": 5.0})
WARM = finding(
    "e-2", Outcome.OUTSIDE, Tier.HOLD, "e-2 hold",
    {"tub": "1", "limit_c": 5.0, "minutes": 270.0, "peak_c": 7.4, "warm_line_c": 10.0, "warm_minutes": 0.0,
     "excursions": 1, "house": "4 h"},
)  # fmt: skip
SHOWN = finding("e-11 cure", Outcome.WITHIN, Tier.NONE, "e-11 cure counted", {"blocks": 0})
NO_COOK = finding("e-11 cook", Outcome.CANNOT_TELL, Tier.NONE, "e-11 cook missing", {"blocks": 1})
COLD = finding(
    "e-5", Outcome.OUTSIDE, Tier.EXTEND, "e-5 extend",
    {"tub": "2", "lost_minutes": 810.0, "lowest_c": -1.9, "new_end_at": NOW + 4 * DAY},
)  # fmt: skip


def proposal(lot: str, disposition: Disposition, *findings: Finding) -> Proposal:
    return Proposal(
        lot, disposition, findings, NOW - 60.0, "US 2026.1", "curevigil 0.1",
        add_s=48_600.0 if disposition is Disposition.EXTEND else 0.0,
        new_end_at=NOW + 4 * DAY if disposition is Disposition.EXTEND else None,
        decide_by_at=NOW + DAY if disposition is Disposition.HOLD else None,
        blocks_release=disposition is not Disposition.RELEASE,
    )  # fmt: skip


def warming(lots: tuple[str, ...] = ("BRISKET-14", "HAM-31")) -> Condition:
    return Condition(
        "coldroom", "product_warm", "temperature", True, NOW - 480.0, lots, NOW + 5400.0, NOW + 9000.0, NOW + 14400.0,
        "product_may_pass",
        {"unit_name": "Cold room", "limit_c": 5.0, "early_at": NOW + 5400.0, "air_c": 8.1, "since_at": NOW - 480.0,
         "tubs": 3, "lots": ", ".join(lots), "product_c": 4.1},
    )  # fmt: skip


def drafts() -> list[Draft]:
    """Return the journal of the fixed kitchen, up to the alarm that stands."""
    begin = NOW - 9 * DAY
    people = [
        ("ada", "Ada Brandt", ("operator", "approver", "admin")),
        ("bo", "Bo Lindqvist", ("operator",)),
        ("cy", "Cyrus Okafor", ("operator", "approver")),
        ("vi", "Viola Sand", ()),
    ]
    site = Site("salt-lane", "Salt Lane Kitchen", ZONE, "US", "variance SL-3")
    units = [
        Unit("coldroom", "salt-lane", "Cold room", "cold room"),
        Unit("fridge", "salt-lane", "Fridge by the pass", "fridge", limit_c=4.5),
        Unit("chamber", "salt-lane", "Curing chamber", "chamber"),
    ]
    assigned = [
        Assignment("cold/air", Quantity.AIR_TEMPERATURE, "coldroom", "by the evaporator", begin),
        Assignment("cold/door", Quantity.DOOR, "coldroom", "door contact", begin),
        Assignment("fridge/air", Quantity.AIR_TEMPERATURE, "fridge", "middle shelf", begin),
    ]
    said: list[tuple[float, str, e.Event]] = [
        (begin, "system", e.SiteDescribed(site)),
        *((begin, "system", e.UnitDescribed(unit)) for unit in units),
        *((begin, "system", e.ChannelAssigned(one)) for one in assigned),
        *((begin, "system", e.PersonDescribed(*one)) for one in people),
        (begin, "system", e.RotaDescribed((RotaStep("bo", 0.0), RotaStep("ada", 600.0)))),
        *batches(),
        (NOW - 3600.0, "rules", e.ProposalMade(proposal("BRISKET-14", Disposition.HOLD, WARM))),
        (NOW - 3600.0, "rules", e.ProposalMade(proposal("HAM-31", Disposition.EXTEND, WITHIN, COLD))),
        (NOW - 3600.0, "rules", e.ProposalMade(proposal("BELLY-32", Disposition.CONTINUE, WITHIN))),
        (NOW - 300.0, "watch", e.AlarmRaised(warming())),
    ]
    return [Draft(at, by, event) for at, by, event in said]


def batches() -> list[tuple[float, str, e.Event]]:
    """Return how the batches of the fixed kitchen came about."""
    brisket, ham, belly = NOW - 4 * DAY, NOW - 8 * DAY, NOW - 2 * DAY
    hand = HandReading(NOW - DAY, "temperature", 3.4, Where.BRINE, "hand probe 1", "BRISKET-14", None, "1")
    action = CorrectiveAction(
        NOW - 2 * DAY, "door left ajar", "door shut, product 3.9 °C", "closer renewed", "kept, on hold"
    )
    return [
        (brisket, "bo", e.BatchStarted(
            "BRISKET-14", plan("Brisket, five days", "beef", "brisket", 5.0), sheet(),
            (Placement("1", "coldroom", brisket), Placement("2", "coldroom", brisket)),
        )),
        (ham, "ada", e.BatchStarted(
            "HAM-31", plan("Ham, ten days", "pork", "boned leg", 10.0), sheet(), (Placement("blue", "coldroom", ham),),
        )),
        (belly, "bo", e.BatchStarted(
            "BELLY-32", plan("Bacon, seven days", "pork", "belly", 7.0, Packing.OPEN), sheet(None),
            (Placement("rack 1", "fridge", belly),),
        )),
        (NOW - DAY, "bo", e.HandReadingEntered(hand)),
        (NOW - DAY, "ada", e.CorrectiveActionEntered("BRISKET-14", action)),
    ]  # fmt: skip


def arrivals() -> list[Arrival]:
    """Return a reading every five minutes: the cold room with a warm spell, a gap and tonight's rise; a calm fridge."""
    found = []
    for at in np.arange(NOW - 4 * DAY, NOW, 300.0).tolist():
        hours = (at - NOW) / 3600.0
        warm = 6.0 * math.exp(-(((hours + 40.0) / 5.0) ** 2)) + max(0.0, 4.5 + hours * 2.25) * (hours > -2.0)
        cold = 3.4 + 0.3 * math.sin(hours) + warm
        values = {
            "cold/air": cold,
            "fridge/air": 3.0 + 0.2 * math.cos(hours),
            "cold/door": float(-20.0 < hours < -19.7),
        }
        if -30.0 < hours < -27.0:
            del values["cold/air"]
        found += [_arrival(channel, at, round(value, 2)) for channel, value in values.items()]
    return [*found, _arrival("new/air", NOW - 120.0, 2.9), _arrival("new/air", NOW - 60.0, 3.0)]


def _arrival(channel: str, at: float, value: float) -> Arrival:
    unit = "1" if channel.endswith("door") else "Cel"
    return Arrival(Message(channel, b"x", at + 1.0), (Reading(channel, at, value, unit, at + 1.0, at),))


def made_kitchen(*more: Draft) -> Kitchen:
    """Return the state alone, with more events behind the fixed ones."""
    present = Present(MemoryJournal(), Clock())
    present.decide(lambda kitchen: [*drafts(), *more])
    return present.kitchen


def made_office(*, plain_http: bool = True, clock: Clock | None = None, bundle: bytes | None = None) -> Office:
    """Return a whole office on the fixed kitchen, in memory."""
    clock = clock or Clock()
    journal, readings = MemoryJournal(), MemoryReadings()
    present = Present(journal, clock)
    present.decide(lambda kitchen: drafts())
    readings.append(arrivals())
    estimates = {
        "coldroom": {
            "BRISKET-14": Estimate(NOW - 30.0, 4.1, 3.8, 4.4, 8.1, 0.9, 6 * 3600.0),
            "HAM-31": Estimate(NOW - 30.0, 3.9, 3.6, 4.2, 8.1, 0.8, 8 * 3600.0),
        },
        "fridge": {"BELLY-32": Estimate(NOW - 40.0, 3.1, 3.1, 3.1, 3.0, 0.0, 4 * 3600.0, (2.8, 3.4))},
    }

    def history(lot: str) -> BatchHistory | None:
        return batch_history(present.kitchen.batches[lot], present.kitchen, readings.series, clock())

    return Office(
        present=present,
        journal=journal,
        readings=readings,
        working=MemoryWorking(),
        clock=clock,
        security_clock=clock,
        health=lambda: (Part("broker", State.WORKS, NOW - DAY, "connected", {"messages": 12.0}),),
        estimates=lambda: estimates,
        history=history,
        limit_of=lambda kitchen, unit: min(5.0, unit.limit_c or 5.0),
        rulebooks={"US": load("US")},
        settings=Settings(plain_http=plain_http),
        charts=lambda: bundle,
    )


def with_health(office: Office, *parts: Part) -> Office:
    """Return the office with another state of health."""
    return replace(office, health=lambda: parts)
