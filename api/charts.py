"""Charts as plain values: Vega-Lite specs built by hand, and small SVG lines. Pure: no clock, no I/O.

Times are given as the walls of the site show them, on a scale that believes it is UTC; so an axis reads like a clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from collector.sample import Instant

Array = npt.NDArray[np.float64]
Spec = dict[str, Any]

POINTS = 900
"""House: how many points a line keeps; more cannot be told apart at this width."""
PAPER = "#fbfaf6"
INK, QUIET, LIMIT, OVER, UNKNOWN = "#1c1b18", "#8a857a", "#8f1d14", "#f3d9a4", "#d9d5cb"
FONT = "system-ui, sans-serif"
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chart: arrays of equal length n, in order of time. [s], [°C]"""

    name: str
    times_at: Array
    values: Array
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """What an estimate lies between: arrays of equal length n. [s], [°C]"""

    times_at: Array
    lower: Array
    upper: Array


@dataclass(frozen=True, slots=True)
class Stretch:
    """A span of time that is marked, and what is said of it; half-open."""

    from_at: Instant
    until_at: Instant
    kind: str
    """`above the limit` or `unknown`."""
    words: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Something a person measured. [s], [°C]"""

    at: Instant
    value: float
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything on one chart of temperatures."""

    zone: str
    limit_c: float
    lines: tuple[Line, ...]
    bands: tuple[Band, ...] = ()
    stretches: tuple[Stretch, ...] = ()
    marks: tuple[Mark, ...] = ()


def local_ms(at: Instant, zone: str) -> float:
    """Return an instant as milliseconds on the clock of the walls. [ms]"""
    offset = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone)).utcoffset()
    return round((at + (offset.total_seconds() if offset is not None else 0.0)) * 1000.0)


def thinned(times_at: Array, values: Array, points: int = POINTS) -> npt.NDArray[np.intp]:
    """Return the indices that keep a line's shape: the lowest and the highest of each bucket, first and last point."""
    n = len(times_at)
    if n <= points:
        return np.arange(n)
    edges: list[int] = np.linspace(0, n, points // 2 + 1).astype(np.intp).tolist()
    kept = {0, n - 1}
    for a, b in zip(edges[:-1], edges[1:], strict=True):
        kept |= {int(a + np.argmin(values[a:b])), int(a + np.argmax(values[a:b]))}
    return np.array(sorted(kept), dtype=np.intp)


def breaks(times_at: Array, shortest_s: float = 900.0) -> npt.NDArray[np.bool_]:
    """Return, for each point, whether a line must not be drawn to it from the one before: nothing was heard between."""
    if len(times_at) < 2:
        return np.zeros(len(times_at), dtype=np.bool_)
    steps = np.diff(times_at, prepend=times_at[0])
    usual = float(np.median(steps[1:]))
    return np.asarray(steps > max(shortest_s, 5.0 * usual), dtype=np.bool_)


def _points(line: Line, zone: str) -> list[Spec]:
    kept = thinned(line.times_at, line.values)
    holes = np.flatnonzero(breaks(line.times_at))
    rows: list[Spec] = []
    for index in sorted({*kept.tolist(), *holes.tolist(), *(holes - 1).tolist()}):
        at, value = float(line.times_at[index]), float(line.values[index])
        if index in holes:
            rows.append({"t": local_ms(at, zone) - 1, "c": None, "line": line.name})
        rows.append({"t": local_ms(at, zone), "c": round(value, 2), "line": line.name})
    return rows


def _band(band: Band, zone: str) -> list[Spec]:
    return [
        {
            "t": local_ms(float(band.times_at[i]), zone),
            "lo": round(float(band.lower[i]), 2),
            "hi": round(float(band.upper[i]), 2),
        }
        for i in thinned(band.times_at, band.upper).tolist()
    ]


X: Spec = {"field": "t", "type": "temporal", "scale": {"type": "utc"}, "title": None}
Y: Spec = {"field": "c", "type": "quantitative", "title": "°C", "scale": {"zero": False}}
WHEN: Spec = {"field": "t", "type": "temporal", "scale": {"type": "utc"}, "title": "when", "format": "%a %H:%M"}
DEGREES: Spec = {"field": "c", "type": "quantitative", "title": "°C", "format": ".1f"}


def _stretch_layer(picture: Picture, kind: str, colour: str) -> list[Spec]:
    rows = [
        {"t": local_ms(s.from_at, picture.zone), "t2": local_ms(s.until_at, picture.zone), "words": s.words}
        for s in picture.stretches
        if s.kind == kind
    ]
    if not rows:
        return []
    mark = {"type": "rect", "color": colour, "opacity": 0.75}
    tooltip = {"field": "words", "type": "nominal", "title": kind}
    return [{"data": {"values": rows}, "mark": mark, "encoding": {"x": X, "x2": {"field": "t2"}, "tooltip": tooltip}}]


def _line_layer(line: Line, zone: str) -> Spec:
    mark: Spec = {"type": "line", "color": INK if line.strong else QUIET, "strokeWidth": 2.5 if line.strong else 1}
    tooltip = [WHEN, DEGREES, {"field": "line", "type": "nominal", "title": "what"}]
    return {
        "data": {"values": _points(line, zone)},
        "mark": {**mark, "interpolate": "linear", "point": {"opacity": 0, "size": 60}},
        "encoding": {"x": X, "y": Y, "tooltip": tooltip},
    }


def _limit_layers(picture: Picture) -> list[Spec]:
    words = f"limit {picture.limit_c:.1f} °C"
    text: Spec = {"type": "text", "align": "left", "dy": -8, "x": 4, "text": words}
    # Once in paper with a broad edge, so that the words can be read where lines cross them.
    halo = {**text, "color": PAPER, "stroke": PAPER, "strokeWidth": 5}
    at = {"data": {"values": [{"c": picture.limit_c}]}, "encoding": {"y": Y}}
    return [
        {**at, "mark": {"type": "rule", "color": LIMIT, "strokeDash": [6, 3], "strokeWidth": 1.5}},
        {**at, "mark": halo},
        {**at, "mark": {**text, "color": LIMIT}},
    ]


def _mark_layer(picture: Picture) -> list[Spec]:
    if not picture.marks:
        return []
    rows = [{"t": local_ms(m.at, picture.zone), "c": m.value, "words": m.words} for m in picture.marks]
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "point", "shape": "diamond", "filled": True, "size": 90, "color": INK},
            "encoding": {
                "x": X,
                "y": Y,
                "tooltip": [WHEN, DEGREES, {"field": "words", "type": "nominal", "title": "by hand"}],
            },
        }
    ]


def temperature_chart(picture: Picture) -> Spec:
    """Return the Vega-Lite spec of a batch's or a unit's temperatures with its limit, excursions and unknown time."""
    layers: list[Spec] = [
        *_stretch_layer(picture, "above the limit", OVER),
        *_stretch_layer(picture, "unknown", UNKNOWN),
    ]
    for band in picture.bands:
        encoding = {"x": X, "y": {**Y, "field": "lo"}, "y2": {"field": "hi"}}
        mark = {"type": "area", "color": QUIET, "opacity": 0.3}
        layers.append({"data": {"values": _band(band, picture.zone)}, "mark": mark, "encoding": encoding})
    layers += [_line_layer(line, picture.zone) for line in sorted(picture.lines, key=lambda one: one.strong)]
    layers += [*_limit_layers(picture), *_mark_layer(picture)]
    return {
        "$schema": SCHEMA,
        "width": "container",
        "height": 240,
        "background": None,
        "autosize": {"type": "fit", "contains": "padding"},
        "layer": layers,
        "config": {
            "font": FONT,
            "view": {"stroke": None},
            "axis": {"labelFont": FONT, "titleFont": FONT, "labelFontSize": 12, "gridColor": "#e6e2d8"},
            "axisX": {"format": "%a %H:%M", "labelOverlap": True, "grid": False, "tickCount": 6},
            "text": {"font": FONT, "fontSize": 12, "fontWeight": 600},
        },
    }


def above(times_at: Array, values: Array, limit: float) -> tuple[tuple[Instant, Instant], ...]:
    """Return the stretches in which a line lies above a limit, from point to point (half-open)."""
    if not len(times_at):
        return ()
    over = np.diff(np.concatenate(([0], (values > limit).astype(np.int64), [0])))
    starts, ends = np.flatnonzero(over == 1).tolist(), np.flatnonzero(over == -1).tolist()
    last = len(times_at) - 1
    return tuple((float(times_at[a]), float(times_at[min(b, last)])) for a, b in zip(starts, ends, strict=True))


@dataclass(frozen=True, slots=True)
class Spark:
    """A small line in an SVG of its own: a path with breaks, and the height of the limit; no style anywhere."""

    width: int
    height: int
    path: str
    limit_y: float
    words: str
    """What a person hears who does not see it."""


def spark(times_at: Array, values: Array, limit_c: float, span: tuple[Instant, Instant]) -> Spark | None:
    """Return a small line of a unit's air over a span, or None where nothing was heard."""
    width, height = 220, 44
    if len(times_at) < 2:
        return None
    low = min(float(values.min()), limit_c) - 0.5
    high = max(float(values.max()), limit_c) + 0.5
    kept: list[int] = thinned(times_at, values, width).tolist()
    broken: set[int] = set(np.flatnonzero(breaks(times_at)).tolist())
    parts: list[str] = []
    pen = "M"
    wanted: Sequence[int] = sorted({*kept, *broken, *(b - 1 for b in broken)})
    for index in wanted:
        x = (float(times_at[index]) - span[0]) / (span[1] - span[0]) * width
        y = height - (float(values[index]) - low) / (high - low) * height
        pen = "M" if index in broken or not parts else "L"
        parts.append(f"{pen}{x:.0f} {y:.1f}")
    words = f"air from {values.min():.1f} to {values.max():.1f} °C, last {values[-1]:.1f} °C".replace("-", "−")
    return Spark(width, height, "".join(parts), round(height - (limit_c - low) / (high - low) * height, 1), words)
