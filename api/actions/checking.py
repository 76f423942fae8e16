"""Sensors taken out and put back, and instruments compared with a reference. Pure: no clock, no I/O."""

from alerts.rulebook.book import Rulebook
from api.actions.faults import Check, Result
from api.schemas_daily import EnterCheck, PutBack, TakeOut
from collector.events_making import CalibrationEntered, SensorBack, SensorUnderTest
from collector.kitchen import Kitchen, Person
from collector.logs import Calibration, UnderTest
from collector.readings import BASE_UNIT, Assignment
from collector.sample import Instant

FARTHEST_OFF_K, FARTHEST_OFF_G = 20.0, 1000.0
"""House: more is a slip of the sign or of the decimal point; an instrument that is so far off is thrown away."""
DAY_S = 86_400.0
CHOOSE = "choose one that is assigned, from the page of sensors"
TOLERANCE = {"channel": "check.tolerance_fixed", "probe": "check.tolerance_hand"}
INTERVAL = {"channel": "check.interval_fixed", "probe": "check.interval_hand", "scale": "check.interval_fixed"}
"""House: a scale is checked as often as a fixed sensor; the rulebook has no row of its own for it."""


def assigned_now(kitchen: Kitchen, channel: str) -> Assignment | None:
    """Return what people say a channel measures, as long as it does."""
    return next((a for a in kitchen.said if a.channel == channel and a.until_at is None), None)


def test_of(kitchen: Kitchen, channel: str) -> UnderTest | None:
    """Return the check that a sensor is out for, or None while it stands in its place."""
    return next((t for t in kitchen.under_test if t.channel == channel and t.until_at is None), None)


def take_out(kitchen: Kitchen, request: TakeOut, person: Person, now: Instant) -> Result:
    """Return that a sensor is out: from that instant on its readings are a gap, and nobody's."""
    check, one = Check(), assigned_now(kitchen, request.channel)
    at = now if request.from_at is None else request.from_at
    out = test_of(kitchen, request.channel)
    check.that(one is not None, "channel", f"nobody has assigned {request.channel}", CHOOSE)
    check.that(out is None, "channel", "it is out for a check already", "put it back first")
    if check.past("from_at", at, now) and one is not None:
        check.that(at >= one.from_at, "from_at", "it was assigned later than that", "enter when it was taken out")
    return check.result(person, at, [SensorUnderTest(request.channel, round(at, 3))])


def put_back(kitchen: Kitchen, request: PutBack, person: Person, now: Instant) -> Result:
    """Return that a sensor stands in its place again, and measures what it did."""
    check, out = Check(), test_of(kitchen, request.channel)
    at = now if request.until_at is None else request.until_at
    check.that(out is not None, "channel", f"{request.channel} is not out for a check", "there is nothing to put back")
    if check.past("until_at", at, now) and out is not None:
        check.that(at > out.from_at, "until_at", "it was taken out later than that", "enter when it was put back")
    return check.result(person, at, [SensorBack(request.channel, round(at, 3))])


def known_as(kitchen: Kitchen, request: EnterCheck) -> str:
    """Return the name of an instrument as it was first written, so that one probe does not become two."""
    if request.kind == "channel":
        return request.instrument
    used = [c.instrument for c in kitchen.calibrations if c.kind == request.kind]
    used += [r.probe for b in kitchen.batches.values() for r in b.hand_readings] if request.kind == "probe" else []
    name = request.instrument.strip()
    return next((one for one in used if one.casefold() == name.casefold()), name)


def enter_check(kitchen: Kitchen, request: EnterCheck, person: Person, now: Instant, book: Rulebook | None) -> Result:
    """Return that an instrument was compared with a reference: as found, as left, and when it is next due."""
    check, at = Check(), now if request.checked_at is None else request.checked_at
    _check_instrument(check, kitchen, request)
    check.past("checked_at", at, now)
    most, unit = (FARTHEST_OFF_G, "g") if request.kind == "scale" else (FARTHEST_OFF_K, "K")
    check.between("as_found", request.as_found, -most, most, unit)
    check.between("as_left", request.as_left, -most, most, unit)
    tolerance = _tolerance(check, request, book)
    interval_s = None if book is None else book.scaled(INTERVAL[request.kind])
    due_at = request.due_at
    if due_at is None and interval_s is not None:
        due_at = at + interval_s
    if check.that(due_at is not None, "due_at", "no rulebook says when it is next due", "enter the day"):
        assert due_at is not None
        check.that(due_at > now, "due_at", "this time has passed already", "enter when it is next to be checked")
        late = interval_s is not None and due_at > at + interval_s + DAY_S
        days = 0.0 if interval_s is None else interval_s / DAY_S
        check.that(not late, "due_at", f"that is more than {days:g} days after the check", "enter an earlier day")
    made = Calibration(
        known_as(kitchen, request), request.kind, round(at, 3), request.reference, request.as_found, request.as_left,
        round(due_at or 0.0, 3), person.id, tolerance,
    )  # fmt: skip
    return check.result(person, at, [CalibrationEntered(made)])


def _check_instrument(check: Check, kitchen: Kitchen, request: EnterCheck) -> None:
    name = request.instrument
    if request.kind != "channel":
        taken = any(a.channel == name.strip() for a in kitchen.said)
        check.that(bool(name.strip()), "instrument", "it has no name", "enter what is written on it")
        check.that(not taken, "instrument", f"{name} is a channel", "enter its check at the sensor itself")
        return
    one = assigned_now(kitchen, name)
    if check.that(one is not None, "instrument", f"nobody has assigned {name}", CHOOSE):
        assert one is not None
        check.that(
            BASE_UNIT[one.quantity] == "Cel", "instrument", f"{name} measures no temperature",
            "only thermometers are compared in K; note other checks in the notes",
        )  # fmt: skip


def _tolerance(check: Check, request: EnterCheck, book: Rulebook | None) -> float:
    row = TOLERANCE.get(request.kind)
    if row is None:
        given = request.tolerance
        if check.that(given is not None, "tolerance", "no rulebook says how far off a scale may be",
                      "enter in g what you let pass"):  # fmt: skip
            check.that((given or 0.0) > 0, "tolerance", f"{given:g} g lets nothing pass", "enter more than 0")
        return given or 0.0
    check.that(
        request.tolerance is None, "tolerance", "the rulebook says how far off a thermometer may be", "leave it empty"
    )
    if not check.that(book is not None, "instrument", "no rulebook is in force", "name the site's authority"):
        return 0.0
    assert book is not None
    return book.scaled(row)
