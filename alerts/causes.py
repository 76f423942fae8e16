"""What is likely behind a room that is too warm, read from the last day of its air. Pure: no clock, no I/O.

A refrigerated room says what ails it by how its air goes up and down. It cools in turns: a slow rise, a quick fall of
always about one height. Turns as usual at a higher level are a set point that was moved, or wanders; no turn any more
is cooling that does not come on or no longer suffices; a rise within minutes that then stands still is an open door;
rises as long and as high as a defrost, one after the other, are a heater that does not rest. Where the record does not
say it clearly, nothing is said: a wrong cause sends people to the wrong place.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from alerts.learned import Recent
from alerts.swings import LEAST_SWING_C, Air, Swing, hourly, smoothed, swings_of
from collector.sample import Instant

DOOR, DEFROST, SETTING, CREEP, COOLING, POWER = "door", "defrost", "setting", "creep", "cooling", "power"

HOUR_S = 3600.0
SHIFT_C, STEP_C, BEGUN = 0.8, 1.5, 0.3
"""House, as every figure here set on simulated nights: a level up by this has changed within the day; up by this, a set
point was moved; the change began when this share of it was reached. [K], [K], [1]"""
NEAR_BEGIN = 14
"""So many readings before the level of an hour moved, something may have moved it."""
KNOWN_S, KNOWN_TURNS = 3 * HOUR_S, 4
"""House: so much ordinary life must be in the record before anything can be called unusual."""
LOOK_S, TURNS = 2 * HOUR_S, 2
"""House: so many turns within this span are cooling at work."""
AS_QUICK, AS_HIGH, NO_HIGHER, QUICKER = 0.65, 0.5, 1.7, 1.15
"""House: a turn falls at least so quickly, at least and at most so far, in shares of the usual; and no rise before it
is quicker by this: the air that comes back after a gust rises at once and falls slowly."""
HEATED_C, HEATED_S, ABRUPT = 2.5, (1080.0, 3300.0), 0.4
"""House: a heater lifts the air by this much, taking so long, never more than this share at one reading."""
DEFROST_C, DEFROST_S, TOO_LONG_S, AGAIN_S = 5.5, 1800.0, 3000.0, 1.6 * HOUR_S
"""House: height and length of a defrost where the unit has shown none; one lasts too long; one comes again too soon."""
MINUTES_S, QUARTER_S, FRESH_S = 600.0, 1500.0, 3 * HOUR_S
OPEN_C, BENDS = 2.0, (1.65, 2.1)
"""House: an open door lifts the air by this within ten minutes; after 25 and 50 minutes it stands at most so many times
higher. [K]"""
STRAIGHT, EVEN = 1.9, 0.3
"""House: a heater lifts the air within half an hour by so many times what ten minutes brought."""
LEAP_C, LEAP, GOES_ALONG = 5.0, 0.8, 0.4
"""House: a warm time that begins with so much, and this share of it, between two readings is the sensor's, and so is
one of which another sensor shows less than this share."""
SILENT_S = 1800.0
"""House: over a longer silence nothing is known of turns. [s]"""
COOLS_NOT_S, COOLS_NOT_C = 5 * HOUR_S, 12.0
"""House: without a turn for so long, or for two hours above this, no set point explains it any more. [s], [°C]"""


@dataclass(frozen=True, slots=True)
class Likely:
    """What is likely behind it, since when the record shows it, and by how much the level is up."""

    cause: str = ""
    since_at: Instant | None = None
    shift_c: float | None = None
    doubted: bool = False
    """Whether another sensor of the unit, or the way it began, says that it is the sensor and not the room."""


@dataclass(frozen=True, slots=True)
class Usual:
    """How the unit behaved before it became warm. [K], [K/s], [°C], [K], [s]"""

    swing_c: float
    fall_c_per_s: float
    bottom_c: float
    """Where a turn ends."""
    defrost_c: float = DEFROST_C
    defrost_s: float = DEFROST_S


class Begun(NamedTuple):
    """Where in the record the present level began, and by how much it is up. [K]"""

    begin: int
    shift_c: float
    hump_c: float
    """By how much its warm hours were above the coolest quarter of the day: something has happened within it. [K]"""


def likely_cause(air: Recent, door: Recent | None = None, other: Recent | None = None) -> Likely:
    """Return what is likely behind the warmth of a unit; an empty cause where the record does not say.

    Parameters
    ----------
    air : Recent
        The air of the last day. [°C]
    door : Recent, optional
        Its door contact, 1 while open.
    other : Recent, optional
        Another sensor in its air. [°C]
    """
    record = smoothed(air)
    if len(record.times) < 2:
        return Likely()
    warm = begun(hourly(record))
    since_at = record.times[warm.begin]
    changed = warm.shift_c >= SHIFT_C
    if (changed and leapt(record, warm)) or (warm.shift_c >= STEP_C and not goes_along(record, other, warm)):
        return Likely(doubted=True)
    opened = open_share(door, since_at) if door is not None and changed else None
    if opened is not None and opened >= 0.5:
        return Likely(DOOR, since_at, warm.shift_c)
    swings = swings_of(record)
    usual = usual_of(record, swings, warm.begin)
    if usual is None:
        return Likely()
    gone_at = went_dark(record, usual, warm.begin) if changed else None
    if gone_at is not None:
        return Likely(POWER, gone_at, warm.shift_c)
    opened_at = let_in(record, usual, warm.begin) if changed and opened is None else None
    if opened_at is not None:
        return Likely(DOOR, opened_at, warm.shift_c)
    heated_at = heater_on(record, swings, usual, since_at - HOUR_S)
    if heated_at is not None:
        return Likely(DEFROST, heated_at, warm.shift_c)
    return by_turns(record, swings, usual, warm)


def by_turns(record: Air, swings: Sequence[Swing], usual: Usual, warm: Begun) -> Likely:
    """Return what follows from whether the unit still cools in turns."""
    now, since_at = record.times[-1], record.times[warm.begin]
    changed = warm.shift_c >= SHIFT_C
    # Turns from before the level rose say nothing of now.
    lowest = usual.bottom_c + 0.5 * warm.shift_c if changed else record.values[-1] - 100.0
    turns = [s for s in swings if is_turn(record, swings, s, usual)]
    late = [s for s in turns if record.times[s.end] >= now - LOOK_S and record.values[s.end] >= lowest]
    if len(late) >= TURNS:
        if changed:
            return Likely(SETTING, since_at, warm.shift_c) if warm.shift_c >= STEP_C else Likely()
        return Likely(CREEP, None, warm.shift_c) if warm.hump_c < STEP_C else Likely()
    if late or not changed:
        return Likely()
    last_at = record.times[turns[-1].end] if turns else record.times[0]
    heard_s = record.heard_s(max(last_at, since_at), SILENT_S)
    too_warm = min(record.values[-6:]) >= COOLS_NOT_C and heard_s >= LOOK_S
    if too_warm or heard_s >= COOLS_NOT_S:
        return Likely(COOLING, last_at, warm.shift_c)
    return Likely()


def begun(levels: Sequence[float]) -> Begun:
    """Return where the present level began, and by how much it is above that of the coolest quarter of the day."""
    ordered = sorted(levels)
    base = ordered[len(levels) // 4]
    shift_c = levels[-1] - base
    begin = len(levels) - 1
    while begin > 0 and levels[begin] > base + BEGUN * shift_c:
        begin -= 1
    return Begun(begin, shift_c, ordered[9 * len(levels) // 10] - base)


def usual_of(record: Air, swings: Sequence[Swing], until: int) -> Usual | None:
    """Return how the unit behaved before a position; None where too little is known of it."""
    before = [s for s in swings if s.end <= until]
    falls = [s for s in before if record.height(s) < 0]
    if len(falls) < KNOWN_TURNS or record.times[until] - record.times[0] < KNOWN_S:
        return None
    swing_c = median(-record.height(s) for s in falls)
    quick = sorted(record.quickest(s) for s in falls)[(9 * len(falls)) // 10]
    bottom_c = median(record.values[s.end] for s in falls)
    heated = [s for s in before if is_heated(record, s) and record.height(s) > NO_HIGHER * swing_c]
    if not heated:
        return Usual(swing_c, quick, bottom_c)
    return Usual(swing_c, quick, bottom_c, median(map(record.height, heated)), median(map(record.span_s, heated)))


def is_turn(record: Air, swings: Sequence[Swing], fall: Swing, usual: Usual) -> bool:
    """Return whether a fall is one of a compressor at work, and not the air finding its way back after a gust."""
    height, quickest = -record.height(fall), record.quickest(fall)
    if not AS_HIGH * usual.swing_c <= height <= NO_HIGHER * usual.swing_c or quickest < AS_QUICK * usual.fall_c_per_s:
        return False
    before = [s for s in swings if s.end == fall.begin]
    return all(
        record.height(s) <= NO_HIGHER * usual.swing_c and record.quickest(s) <= QUICKER * quickest for s in before
    )


def is_heated(record: Air, rise: Swing) -> bool:
    """Return whether a rise is as even as a heater makes it."""
    height = record.height(rise)
    if height < HEATED_C or not HEATED_S[0] <= record.span_s(rise) <= HEATED_S[1]:
        return False
    return all(b - a <= ABRUPT * height for a, b in pairwise(record.values[rise.begin : rise.end + 1]))


def heater_on(record: Air, swings: Sequence[Swing], usual: Usual, from_at: Instant) -> Instant | None:
    """Return since when the air has been heated without an end, or again and again; None where it was not."""
    late = [s for s in swings if record.times[s.begin] >= from_at and record.height(s) > 0]
    for s in late:
        minutes, half, longer = (record.risen(s.begin, span) for span in (MINUTES_S, DEFROST_S, TOO_LONG_S))
        if minutes is None or half is None or longer is None or record.span_s(s) < 0.8 * TOO_LONG_S:
            continue
        even = all(b - a <= EVEN * longer for a, b in pairwise(record.values[s.begin : s.end + 1]))
        if even and half >= max(0.7 * usual.defrost_c, STRAIGHT * minutes) and longer >= 1.3 * usual.defrost_c:
            return record.times[s.begin]
    heated = [s for s in late if is_heated(record, s) and record.span_s(s) >= 0.9 * usual.defrost_s]
    for a, b in pairwise(heated):
        soon = record.times[b.begin] - record.times[a.begin] <= AGAIN_S
        rested = any(a.end <= s.begin and s.end <= b.begin and is_turn(record, swings, s, usual) for s in swings)
        high = record.height(a) >= 0.7 * usual.defrost_c and record.height(b) >= 0.4 * usual.defrost_c
        if soon and high and not rested:
            return record.times[a.begin]
    return None


def let_in(record: Air, usual: Usual, begin: int) -> Instant | None:
    """Return when the air rose within minutes and then stood, as warm air does that comes in; None where it did not."""
    v, top = record.values, usual.bottom_c + usual.swing_c + 0.5 * OPEN_C
    for i in range(max(begin - NEAR_BEGIN, 0), min(begin + 3, len(v) - 2)):
        minutes, quarter, hour = (record.risen(i, span) for span in (MINUTES_S, QUARTER_S, TOO_LONG_S))
        if (
            minutes is None
            or quarter is None
            or hour is None
            or v[i] > top
            or record.times[-1] - record.times[i] > FRESH_S
        ):
            continue
        abrupt = minutes >= OPEN_C and v[i] + minutes >= top
        bends = quarter <= BENDS[0] * minutes and hour <= BENDS[1] * minutes
        stands = min(v[i + 2 :]) >= v[i] + 0.7 * minutes and median(v[-4:]) - v[i] >= 0.8 * (max(v[i:]) - v[i])
        leaps = max(b - a for a, b in pairwise(v[i : i + 4])) >= LEAP * quarter
        if abrupt and bends and stands and not leaps:
            return record.times[i]
    return None


def went_dark(record: Air, usual: Usual, begin: int) -> Instant | None:
    """Return since when nothing was heard, where the air was as usual before that and warm behind it; else None."""
    t, v, top = record.times, record.values, usual.bottom_c + usual.swing_c
    for i in range(max(begin - NEAR_BEGIN, 0), min(begin + 4, len(v) - 1)):
        if t[i + 1] - t[i] > SILENT_S and median(v[max(i - 2, 0) : i + 1]) <= top + LEAST_SWING_C:
            if v[i + 1] >= top + STEP_C:
                return t[i]
    return None


def leapt(record: Air, warm: Begun) -> bool:
    """Return whether nearly all of it came between two readings, and stood: no air does that, but a sensor does."""
    t, v = record.times, record.values
    for i in range(max(warm.begin - NEAR_BEGIN, 0), min(warm.begin + 4, len(v) - 1)):
        leap, quarter = v[i + 1] - v[i], record.risen(i, QUARTER_S)
        if leap < LEAP_C or t[i + 1] - t[i] > MINUTES_S or quarter is None or not TOO_LONG_S <= t[-1] - t[i] <= FRESH_S:
            continue
        lowest = min(value for at, value in zip(t, v, strict=True) if t[i] < at <= t[i] + TOO_LONG_S)
        if quarter <= leap / LEAP and lowest >= v[i] + LEAP * leap:
            return True
    return False


def goes_along(record: Air, other: Recent | None, warm: Begun) -> bool:
    """Return whether another sensor shows the rise as well; where there is none, nothing speaks against it."""
    if other is None:
        return True
    begin_at, end_at = record.times[max(warm.begin - NEAR_BEGIN, 0)], record.times[-1]
    before, late = other.before(begin_at), other.since(end_at - HOUR_S)
    if len(before) < 10 or len(late) < 5:
        return True
    return median(late) - median(before) >= GOES_ALONG * warm.shift_c


def open_share(door: Recent, since_at: Instant) -> float | None:
    """Return the share of a contact's readings since an instant that say open; None where there are too few."""
    values = door.since(since_at)
    return sum(value >= 0.5 for value in values) / len(values) if len(values) >= 5 else None
