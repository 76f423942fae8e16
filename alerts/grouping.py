"""Many units silent at once are one alarm with one cause, which holds back what follows from it. Pure.

A parent (`nothing_arrives`, `units_silent`) holds back `channel_silent` and `unwatched` of its units, and nothing else:
meat that is known to warm is told by itself. Once the parent is over, what it held back and still holds is there again
in the same breath. A child that stood before its parent goes on standing.
"""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from alerts.alarms import Figures, Key
from alerts.heard import Heard
from alerts.surroundings import TEMPERATURES
from alerts.unit_watch import UnitWatch, lots_of
from alerts.unwatched import could_pass_at, minute
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

WINDOW_S = 300.0
"""House: units whose last readings allow one instant at which all of them stopped, give or take this, share it. [s]"""
CHILDREN = frozenset({"channel_silent", "unwatched"})
"""What follows from a way that is gone, and is held back while its parent stands."""
PARENTS = frozenset({"nothing_arrives", "units_silent"})
ALL = "*"

Partial = Mapping[Key, tuple[frozenset[str], Instant]]
"""For each parent of which some units are heard again: those that are not, and since when these are all."""
NONE_PARTIAL: Partial = {}


@dataclass(frozen=True, slots=True)
class Silence:
    """One unit from which nothing has come for a while."""

    watch: UnitWatch
    spoke_at: Instant
    """When it last said anything; minus infinity where it never did."""
    interval_s: float
    gone: bool
    """Whether it has said nothing for longer than it may."""

    @property
    def id(self) -> str:
        """Return the unit."""
        return self.watch.unit.id

    @property
    def until_at(self) -> Instant:
        """Return the latest instant at which it can have stopped: its next reading was due, give or take the window."""
        return self.spoke_at + self.interval_s + WINDOW_S

    def fits(self, since_at: Instant) -> bool:
        """Return whether it can have stopped with others, of which the first was heard last at `since_at`."""
        return self.spoke_at <= since_at + self.interval_s + WINDOW_S and since_at <= self.until_at

    @property
    def could_pass_at(self) -> Instant:
        """Return when meat in it could pass its limit had cooling stopped; infinite for never and for no meat."""
        return min((could_pass_at(self.watch, tub) for tub in self.watch.tubs), default=math.inf)


@dataclass(frozen=True, slots=True)
class Parent:
    """One cause and the units that it is behind."""

    key: Key
    since_at: Instant
    members: tuple[Silence, ...]


@dataclass(frozen=True, slots=True)
class Grouped:
    """What is left to be told of once many have one cause."""

    conditions: list[Condition]
    judged: list[str]
    """Units of which it was judged what holds, the groups among them."""
    returns: dict[Key, Figures]
    """For each standing parent, the figures of the sentence that says it is over."""
    partial: Partial = field(default_factory=dict)


def grouped(
    found: Sequence[Condition], units: Sequence[str], watches: Iterable[UnitWatch], kitchen: Kitchen, now: Instant,
    *, whole: bool, partial: Partial = NONE_PARTIAL,
) -> Grouped:  # fmt: skip
    """Return the conditions with one cause in place of many.

    `watches` are all units that can be worked on; `whole` says whether `found` is of every one of them: only then does
    a parent begin or end. `partial` is what the last whole look returned.
    """
    alarms = kitchen.active_alarms()
    standing = {alarm.condition.key for alarm in alarms}
    if not whole and not any(c.kind in CHILDREN and c.key not in standing for c in found):
        return Grouped(list(found), list(units), {})
    heard = [watch for watch in watches if watch.channels]
    silent = [s for s in (silence_of(watch, now) for watch in heard) if s is not None]
    old, left = _standing(alarms, heard, silent, now, partial)
    new = _begun(heard, silent, old, standing, kitchen)
    parents = [*old, *new]
    held = {member.id for parent in parents for member in parent.members}
    rest = [c for c in found if c.kind not in CHILDREN or c.key in standing or c.unit not in held]
    # That nobody knows how warm the meat is says that nothing is heard, and is told for both.
    blind = {c.unit for c in rest if c.kind == "unwatched"}
    rest = [c for c in rest if c.kind != "channel_silent" or c.key in standing or c.unit not in blind]
    if not whole:
        return Grouped(rest, list(units), {})
    groups = {alarm.condition.unit for alarm in alarms if alarm.condition.kind in PARENTS}
    groups |= {parent.key[0] for parent in parents}
    returns = {a.condition.key: _return_figures(a, heard, silent) for a in alarms if a.condition.kind in PARENTS}
    told = [_condition(parent, kitchen, now) for parent in parents]
    return Grouped([*rest, *told], [*units, ALL, *sorted(groups - {ALL})], returns, left)


def members_of(kitchen: Kitchen) -> set[str]:
    """Return every unit that a standing parent was told of."""
    parents = (a.condition for a in kitchen.active_alarms() if a.condition.kind in PARENTS)
    return {unit for condition in parents for unit in condition.members}


def silence_of(watch: UnitWatch, now: Instant) -> Silence | None:
    """Return how a unit is silent, or None where anything that measures temperature in it may still speak.

    A unit that is silent but for a door or a battery is none either, if that has spoken since: its way is there.
    """
    temperatures = _temperatures(watch)
    if any(now - h.spoke_at <= h.assignment.interval_s + WINDOW_S for h in temperatures):
        return None
    silence = _silence(watch, gone=all(h.silent(now, stands=False) for h in temperatures))
    if any(h.spoke_at > silence.until_at for h in watch.channels.values()):
        return None
    return silence


def _silence(watch: UnitWatch, *, gone: bool) -> Silence:
    last = max(_temperatures(watch), key=lambda h: h.spoke_at)
    return Silence(watch, last.spoke_at, last.assignment.interval_s, gone)


def _temperatures(watch: UnitWatch) -> list[Heard]:
    channels = list(watch.channels.values())
    return [h for h in channels if h.assignment.quantity in TEMPERATURES] or channels


def _standing(
    alarms: Sequence[Alarm],
    heard: Sequence[UnitWatch],
    silent: Sequence[Silence],
    now: Instant,
    partial: Partial,
) -> tuple[list[Parent], Partial]:
    """Return the parents that go on standing, and those of which only a part is still silent."""
    found: list[Parent] = []
    left: dict[Key, tuple[frozenset[str], Instant]] = {}
    taken: set[str] = set()
    for condition in (alarm.condition for alarm in alarms if alarm.condition.kind in PARENTS):
        everything = condition.kind == "nothing_arrives"
        scope = [w for w in heard if _covers(condition.unit, w)]
        known = [w for w in scope if everything or w.unit.id in condition.members]
        mine = [s for s in _members(condition, known, silent) if s.id not in taken]
        names = frozenset(s.id for s in mine)
        back = {w.unit.id for w in known} - names
        if not mine or (len(mine) < 2 and not everything and not back):
            continue
        if back and (everything or len(mine) < 2):
            # The last of a group may take their time to come back: their next reading need not be due yet.
            before, since = partial.get(condition.key, (names, now))
            since = now if names < before else since
            left[condition.key] = (names, since)
            if not 0.0 <= now - since <= WINDOW_S + max(s.interval_s for s in mine):
                continue
        taken |= set() if everything else names
        found.append(Parent(condition.key, condition.since_at, tuple(mine)))
    return found, left


def _members(condition: Condition, known: Sequence[UnitWatch], silent: Sequence[Silence]) -> list[Silence]:
    """Return the units that have said nothing since their group fell silent."""
    mine = {s.id: s for s in silent if _covers(condition.unit, s.watch)}
    if condition.kind == "nothing_arrives":
        mine = {name: s for name, s in mine.items() if s.spoke_at <= condition.since_at + WINDOW_S}
    else:
        mine = {name: s for name, s in mine.items() if s.fits(condition.since_at)}
    for watch in known:
        if watch.unit.id not in mine and not any(h.taken for h in _temperatures(watch)):
            # Only a reading ends it, and none that was in the store before (`Heard.silent`).
            mine[watch.unit.id] = _silence(watch, gone=False)
    return list(mine.values())


def _covers(group: str, watch: UnitWatch) -> bool:
    """Return whether a group is of the whole kitchen, of a unit's site, or among the units of that site."""
    site = f"{ALL}{watch.unit.site}"
    return group in (ALL, site) or group.startswith(f"{site}/")


def _begun(
    heard: Sequence[UnitWatch], silent: Sequence[Silence], old: Sequence[Parent], standing: Collection[Key],
    kitchen: Kitchen,
) -> list[Parent]:  # fmt: skip
    """Return the parents that begin now."""
    held = {member.id for parent in old for member in parent.members}
    free = [s for s in silent if s.id not in held]
    # Who is late and can have stopped with one that is gone is counted at once: one message, not one after another.
    late = {s.id for cluster in _clusters(free) for s in cluster}
    joined = [s for s in free if s.gone or s.id in late]
    if not joined or any(parent.key == (ALL, "nothing_arrives") for parent in old):
        return []
    quiet = held | {s.id for s in joined}
    if len(heard) > 1 and all(w.unit.id in quiet for w in heard):
        return [_of_all(ALL, silent)]
    found = []
    for site in dict.fromkeys(s.watch.unit.site for s in joined):
        here, mine = [w for w in heard if w.unit.site == site], [s for s in joined if s.watch.unit.site == site]
        whole = (f"{ALL}{site}", "nothing_arrives")
        if any(parent.key == whole for parent in old) or not any(s.gone for s in mine):
            continue
        if len(kitchen.sites) > 1 and len(here) > 1 and all(w.unit.id in quiet for w in here):
            found.append(_of_all(whole[0], [s for s in silent if s.watch.unit.site == site]))
            continue
        for cluster in _clusters(mine):
            keys = ((f"{ALL}{site}/{name}", "units_silent") for name in sorted(s.id for s in cluster))
            key = next((key for key in keys if key not in standing), None)
            if key is not None and len(cluster) > 1:
                found.append(Parent(key, cluster[0].spoke_at, tuple(cluster)))
    return found


def _of_all(group: str, silent: Sequence[Silence]) -> Parent:
    spoke = [s.spoke_at if math.isfinite(s.spoke_at) else s.watch.since_at for s in silent]
    return Parent((group, "nothing_arrives"), max(spoke), tuple(silent))


def _clusters(silent: Sequence[Silence]) -> list[list[Silence]]:
    """Return units that can have stopped with one that is gone, together; who never spoke has not stopped."""
    found: list[list[Silence]] = []
    for one in sorted((s for s in silent if math.isfinite(s.spoke_at)), key=lambda s: (s.spoke_at, s.id)):
        if found and one.spoke_at <= min(s.until_at for s in found[-1]):
            found[-1].append(one)
        else:
            found.append([one])
    return [cluster for cluster in found if any(s.gone for s in cluster)]


def _condition(parent: Parent, kitchen: Kitchen, now: Instant) -> Condition:
    group, kind = parent.key
    members = sorted(parent.members, key=lambda s: (s.could_pass_at, s.watch.unit.name, s.id))
    early = members[0].could_pass_at
    since = max((s.spoke_at for s in members if math.isfinite(s.spoke_at)), default=parent.since_at)
    figures: dict[str, float | int | str | None] = {"since_at": round(since), "units": len(members)}
    for n, member in enumerate(members, 1):
        figures[f"unit_{n}"], figures[f"name_{n}"] = member.id, member.watch.unit.name
        if member.watch.tubs:
            figures[f"from_{n}_at"] = minute(member.could_pass_at)
    site = kitchen.site_of(group)
    if kind == "nothing_arrives" and group != ALL and site is not None:
        figures["site_name"] = site.name
    lots = tuple(sorted({lot for member in members for lot in lots_of(member.watch)}))
    return Condition(
        group,
        kind,
        "connectivity",
        early < now,
        parent.since_at,
        lots,
        minute(early),
        sentence=kind,
        parameters=figures,
    )


def _return_figures(alarm: Alarm, heard: Sequence[UnitWatch], silent: Sequence[Silence]) -> Figures:
    quiet = {s.id for s in silent}
    mine = [w for w in heard if w.unit.id in alarm.condition.members]
    names = {still: [w.unit.name for w in mine if (w.unit.id in quiet) is still] for still in (True, False)}
    return {"back": ", ".join(names[False]), "still": ", ".join(names[True])}
