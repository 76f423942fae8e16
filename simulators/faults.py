"""What goes wrong: with the units themselves, and with their readings on the way. Pure: no clock, no I/O.

A physical fault changes what acts on the units while it lasts. A stream fault takes the readings as they were sent and
gives them back as they arrive. Windows are half-open; those of stream faults go by the instant of measuring.
"""

import heapq
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from random import Random
from typing import NamedTuple

import numpy as np

from simulators.room import BoolArray, Inputs


class Kind(StrEnum):
    """What can be wrong with a unit; severity runs from 0 (nothing) to 1, and means what each line says."""

    COMPRESSOR_STOPPED = "compressor_stopped"
    """Share of the cooling that is gone."""
    DOOR_AJAR = "door_ajar"
    """A gap of 1 to 30 % of the doorway."""
    FAN_STOPPED = "fan_stopped"
    """Share of the fan's air that is gone."""
    DEFROST_STUCK = "defrost_stuck"
    """Share of every hour in which the heater is on and nothing cools."""
    SET_POINT_TOO_HIGH = "set_point_too_high"
    """Of 8 K."""
    TOO_COLD = "too_cold"
    """A set point too low, of 8 K."""
    REFRIGERANT_LOSS = "refrigerant_loss"
    """Share of the cooling that is gone at the end of the window; it goes evenly over the window."""
    POWER_CUT = "power_cut"
    """No compressor, fan or heater; any severity above 0."""


SET_POINT_RANGE_K = 8.0
LEAST_GAP_SHARE, WIDEST_GAP_SHARE = 0.01, 0.30


@dataclass(frozen=True, slots=True)
class UnitFault:
    """One thing wrong with one unit (or with all of them) for a while."""

    kind: Kind
    unit: int | None
    """Position of the unit; None for every unit."""
    from_at: float
    until_at: float
    severity: float = 1.0
    """0 to 1. [1]"""

    def modify(self, inputs: Inputs, at: float) -> Inputs:
        """Return the inputs as the fault leaves them at an instant within its window."""
        here = np.zeros(inputs.ambient_c.shape, dtype=bool)
        here[slice(None) if self.unit is None else self.unit] = True
        return _EFFECTS[self.kind](inputs, here, self, at)


Effect = Callable[[Inputs, BoolArray, UnitFault, float], Inputs]


def _less_cooling(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    left = inputs.cooling_share * (1.0 - fault.severity)
    return replace(inputs, cooling_share=np.where(here, left, inputs.cooling_share))


def _door_ajar(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    gap = LEAST_GAP_SHARE + (WIDEST_GAP_SHARE - LEAST_GAP_SHARE) * fault.severity
    return replace(inputs, open_share=np.where(here, np.maximum(inputs.open_share, gap), inputs.open_share))


def _less_fan(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    left = inputs.fan_share * (1.0 - fault.severity)
    return replace(inputs, fan_share=np.where(here, left, inputs.fan_share))


def _defrost_stuck(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    if (at - fault.from_at) % 3600.0 >= 3600.0 * fault.severity:
        return inputs
    return replace(inputs, defrosting=inputs.defrosting | here)


def _shifted(sign: float) -> Effect:
    def effect(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
        shift = sign * SET_POINT_RANGE_K * fault.severity * here
        return replace(inputs, set_point_shift_c=inputs.set_point_shift_c + shift)

    return effect


def _refrigerant_loss(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    gone = fault.severity * (at - fault.from_at) / (fault.until_at - fault.from_at)
    return _less_cooling(inputs, here, replace(fault, severity=gone), at)


def _power_cut(inputs: Inputs, here: BoolArray, fault: UnitFault, at: float) -> Inputs:
    return replace(inputs, power=inputs.power & ~here) if fault.severity > 0 else inputs


_EFFECTS: dict[Kind, Effect] = {
    Kind.COMPRESSOR_STOPPED: _less_cooling,
    Kind.DOOR_AJAR: _door_ajar,
    Kind.FAN_STOPPED: _less_fan,
    Kind.DEFROST_STUCK: _defrost_stuck,
    Kind.SET_POINT_TOO_HIGH: _shifted(+1.0),
    Kind.TOO_COLD: _shifted(-1.0),
    Kind.REFRIGERANT_LOSS: _refrigerant_loss,
    Kind.POWER_CUT: _power_cut,
}


class Sent(NamedTuple):
    """One reading on its way, in the unit of its channel."""

    channel: str
    value: float
    measured_at: float
    received_at: float


@dataclass(frozen=True, slots=True)
class Where:
    """Which readings a stream fault touches: channels (None for all), measured from … until …"""

    channels: frozenset[str] | None = None
    from_at: float = -math.inf
    until_at: float = math.inf

    def covers(self, sent: Sent) -> bool:
        """Return whether the fault touches this reading."""
        return (self.channels is None or sent.channel in self.channels) and (
            self.from_at <= sent.measured_at < self.until_at
        )


EVERYWHERE = Where()


def lose(stream: Iterable[Sent], rng: Random, share: float, where: Where = EVERYWHERE) -> Iterator[Sent]:
    """Return the stream without a share of its readings, drawn one by one. [1]"""
    return (sent for sent in stream if not (where.covers(sent) and rng.random() < share))


def silence(stream: Iterable[Sent], where: Where) -> Iterator[Sent]:
    """Return the stream without anything that the window covers."""
    return (sent for sent in stream if not where.covers(sent))


def repeat(
    stream: Iterable[Sent], rng: Random, share: float, within_s: float, where: Where = EVERYWHERE
) -> Iterator[Sent]:
    """Return the stream with a share of its readings received a second time, at most `within_s` later. [1, s]"""

    def groups() -> Iterator[tuple[float, list[Sent]]]:
        for sent in stream:
            again = where.covers(sent) and rng.random() < share
            yield sent.received_at, [sent, _later(sent, within_s * rng.random())] if again else [sent]

    return _as_received(groups())


def reorder(
    stream: Iterable[Sent], rng: Random, share: float, within_s: float, where: Where = EVERYWHERE
) -> Iterator[Sent]:
    """Return the stream with a share of its readings received up to `within_s` later, after others. [1, s]"""

    def groups() -> Iterator[tuple[float, list[Sent]]]:
        for sent in stream:
            late = where.covers(sent) and rng.random() < share
            yield sent.received_at, [_later(sent, within_s * rng.random()) if late else sent]

    return _as_received(groups())


def delay(stream: Iterable[Sent], rng: Random, where: Where, spacing_s: float = 0.02) -> Iterator[Sent]:
    """Return the stream with what the window covers held back until the window ends, then sent in the old order.

    `spacing_s` is the mean pause between two readings of the backlog. [s]
    """

    def groups() -> Iterator[tuple[float, list[Sent]]]:
        held: list[Sent] = []
        for sent in stream:
            if where.covers(sent):
                held.append(sent)
            elif sent.received_at >= where.until_at:
                yield sent.received_at, [*_backlog(held, rng, where.until_at, spacing_s), sent]
                held = []
            else:
                yield sent.received_at, [sent]
        yield math.inf, _backlog(held, rng, where.until_at, spacing_s)

    return _as_received(groups())


def _later(sent: Sent, by_s: float) -> Sent:
    return sent._replace(received_at=round(sent.received_at + by_s, 3))


def _backlog(held: list[Sent], rng: Random, at: float, spacing_s: float) -> list[Sent]:
    arrived: list[Sent] = []
    for sent in held:
        at = max(at + spacing_s * 2 * rng.random(), sent.received_at)
        arrived.append(sent._replace(received_at=round(at, 3)))
    return arrived


def _as_received(groups: Iterable[tuple[float, list[Sent]]]) -> Iterator[Sent]:
    """Merge groups in order of receipt; no group holds anything received before the instant it is given with."""
    waiting: list[tuple[float, int, Sent]] = []
    count = 0
    for now, group in groups:
        while waiting and waiting[0][0] <= now:
            yield heapq.heappop(waiting)[2]
        for sent in group:
            heapq.heappush(waiting, (sent.received_at, count, sent))
            count += 1
    while waiting:
        yield heapq.heappop(waiting)[2]


def stick(stream: Iterable[Sent], where: Where) -> Iterator[Sent]:
    """Return the stream with each covered channel staying at the value it last had before the window.

    A channel first seen inside the window stays at that first value.
    """
    last: dict[str, float] = {}
    for sent in stream:
        if where.covers(sent):
            yield sent._replace(value=last.setdefault(sent.channel, sent.value))
        else:
            last[sent.channel] = sent.value
            yield sent


def spike(stream: Iterable[Sent], rng: Random, share: float, size: float, where: Where = EVERYWHERE) -> Iterator[Sent]:
    """Return the stream with `size` added to, or taken from, a share of its readings. [1, unit of the channel]"""
    for sent in stream:
        if where.covers(sent) and rng.random() < share:
            sent = sent._replace(value=sent.value + rng.choice((-size, size)))
        yield sent


def skew(stream: Iterable[Sent], where: Where, offset_s: float, per_day_s: float = 0.0) -> Iterator[Sent]:
    """Return the stream as a device with a wrong clock stamps it; when it is received does not change.

    The clock is `offset_s` ahead (behind where negative) at the window's beginning and gains `per_day_s` a day. [s]
    """
    for sent in stream:
        if where.covers(sent):
            days = (sent.measured_at - where.from_at) / 86400.0 if per_day_s else 0.0
            sent = sent._replace(measured_at=round(sent.measured_at + offset_s + per_day_s * days, 3))
        yield sent


def drift(stream: Iterable[Sent], where: Where, per_day: float) -> Iterator[Sent]:
    """Return the stream of a sensor that goes astray by `per_day` a day from the beginning. [channel's unit]"""
    for sent in stream:
        if where.covers(sent):
            sent = sent._replace(value=sent.value + per_day * (sent.measured_at - where.from_at) / 86400.0)
        yield sent
