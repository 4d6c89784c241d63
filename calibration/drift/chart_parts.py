"""The layers of the drift plot: results as they stood or summed, adjustments, and the forecast."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from calibration.chart_marks import (
    ARROW,
    BAND,
    EXPECTED,
    FALLEN,
    FOUND,
    FOUND_FAILED,
    FOUND_OUT,
    LEFT,
    LEFT_OUT,
    LINE,
    POST,
    TRIANGLE,
    Mark,
)
from calibration.charts import ErrorScale, Number, Spec
from calibration.drift.visits import Visit
from plant.level.tolerance import Limits
from plant.quantities import day_text, percent

ARROW_ROOM = 16  # pixels; a shorter adjustment is drawn without a head
HEAD = {"type": "point", "filled": True, "size": 55, "opacity": 1, "fill": "var(--accent)"}

ADJUSTMENT = Mark(
    "adjustment",
    "rule",
    ARROW,
    {"stroke": "var(--accent)", "fill": "var(--accent)", "strokeWidth": 2},
)
ADJUSTED = Mark("adjusted that day", "point", TRIANGLE, HEAD | {"shape": "triangle-up"})
SUMMED = Mark("drift, summed", "point", FOUND.path, FOUND.look)
LEG = Mark("from visit to visit", "rule", LINE, {"stroke": "var(--edge)", "strokeWidth": 1})
NEW_LEVEL = Mark(
    "new level", "rule", POST, {"stroke": "var(--edge)", "strokeWidth": 1, "strokeDash": [2, 3]}
)
FAILURE = Mark(
    "found failed",
    "point",
    FALLEN,
    HEAD | {"shape": "triangle-down", "size": 90, "fill": "var(--bad)"},
)
FAINT = {"opacity": 0.5}
NOT_COUNTED = Mark("not in the trend", "point", FOUND.path, FOUND.look | FAINT)
NEXT_FOUND = Mark("95 % band of the next as found", "area", BAND.path, BAND.look)


@dataclass(frozen=True)
class Ahead:
    """The forecast of the next as found on each ISO day ``on``, % of span."""

    on: Sequence[str] = ()
    expected: Sequence[Number] = ()
    low: Sequence[Number] = ()
    high: Sequence[Number] = ()

    def rows(self) -> list[Spec]:
        columns = zip(self.on, self.expected, self.low, self.high, strict=True)
        return [dict(zip(("on", "fit", "low", "high"), row, strict=True)) for row in columns]


def forecast(ahead: Ahead) -> list[Spec]:
    if not ahead.on:
        return []
    values = {"values": ahead.rows()}
    x = {"field": "on"}
    band = {"x": x, "y": {"field": "low"}, "y2": {"field": "high"}}
    return [
        {"data": values, "mark": NEXT_FOUND.spec(clip=True), "encoding": band},
        {
            "data": values,
            "mark": EXPECTED.spec(clip=True),
            "encoding": {"x": x, "y": {"field": "fit"}},
        },
    ]


# ---- as it stood ----
def found_and_left(visits: Sequence[Visit], tolerance: Limits) -> list[Spec]:
    """A ring as found, a dot as left: a dot inside its ring was not adjusted. What the trend leaves
    out is drawn faintly.
    """
    layers = []
    for is_counted in (False, True):
        some = [visit for visit in visits if visit.is_counted == is_counted]
        faint = {} if is_counted else FAINT
        for mark, found in found_groups(some, FOUND):
            rows = [_row(visit, visit.found, tolerance.size) for visit in found]
            layers.append(_points(rows, "As found", mark, **faint))
        for mark, left in _left_groups(some, tolerance):
            rows = [_row(visit, visit.left, tolerance.size) for visit in left]
            layers.append(_points(rows, "As left", mark, **faint))
    return layers


def found_groups(visits: Iterable[Visit], usual: Mark) -> list[tuple[Mark, list[Visit]]]:
    """Each mark for results as found, with the visits that bear it; none without one."""
    groups: dict[Mark, list[Visit]] = {usual: [], FOUND_FAILED: [], FOUND_OUT: []}
    for visit in visits:
        if visit.found is not None:
            mark = FOUND_OUT if visit.out else FOUND_FAILED if visit.failed else usual
            groups[mark].append(visit)
    return [(mark, some) for mark, some in groups.items() if some]


def _left_groups(visits: Iterable[Visit], tolerance: Limits) -> list[tuple[Mark, list[Visit]]]:
    groups: dict[Mark, list[Visit]] = {LEFT: [], LEFT_OUT: []}
    for visit in visits:
        if visit.left is not None:
            groups[LEFT if tolerance.holds(visit.left) else LEFT_OUT].append(visit)
    return [(mark, some) for mark, some in groups.items() if some]


def _row(visit: Visit, value: Any, tolerance: Number) -> Spec:
    text = percent(value, tolerance)
    return {"on": visit.day.isoformat(), "day": day_text(visit.day), "value": value, "text": text}


def _points(rows: list[Spec], title: str, mark: Mark, **more: Any) -> Spec:
    tooltip = [{"field": "day", "title": "Day"}, {"field": "text", "title": f"{title}, %"}]
    place = {"x": {"field": "on"}, "y": {"field": "value"}}
    return {
        "data": {"values": rows},
        "mark": mark.spec(**more),
        "encoding": place | {"tooltip": tooltip},
    }


def adjustments(visits: Iterable[Visit], scale: ErrorScale) -> list[Spec]:
    """An arrow from each as found to its as left."""
    moved = [visit for visit in visits if visit.is_moved]
    if not moved:
        return []
    rows = [
        {"on": visit.day.isoformat(), "found": visit.found, "left": visit.left} for visit in moved
    ]
    stem = {
        "data": {"values": rows},
        "mark": ADJUSTMENT.spec(),
        "encoding": {
            "x": {"field": "on"},
            "y": {"field": "found"},
            "y2": {"field": "left"},
        },
    }
    return [stem, *_heads(rows, scale)]


def _heads(rows: list[Spec], scale: ErrorScale) -> list[Spec]:
    """Upward and downward arrow heads, just short of the dot as left."""
    layers = []
    for sign, shape in ((1, "triangle-up"), (-1, "triangle-down")):
        some = [
            row for row in rows if sign * scale.pixels(row["left"] - row["found"]) >= ARROW_ROOM
        ]
        if some:
            mark = HEAD | {"shape": shape, "yOffset": sign * 8}
            place = {"x": {"field": "on"}, "y": {"field": "left"}}
            layers.append({"data": {"values": some}, "mark": mark, "encoding": place})
    return layers


def legs(visits: Sequence[Visit]) -> list[Spec]:
    """What it did by itself: from each as left to the next as found."""
    ends = [
        (before.day, before.left, after.day, after.found)
        for before, after in pairwise(visit for visit in visits if visit.is_counted)
        if not after.fresh
    ]
    return _lines(ends)


def _lines(ends: Iterable[tuple[Any, ...]]) -> list[Spec]:
    rows = [
        {"on": on.isoformat(), "start": start, "until": until.isoformat(), "end": end}
        for on, start, until, end in ends
        if start is not None and end is not None
    ]
    if not rows:
        return []
    place = {
        "x": {"field": "on"},
        "y": {"field": "start"},
        "x2": {"field": "until"},
        "y2": {"field": "end"},
    }
    return [{"data": {"values": rows}, "mark": LEG.spec(), "encoding": place}]


# ---- adjustments taken out ----
def summed(visits: Sequence[Visit], tolerance: Number) -> list[Spec]:
    """The drift of all visits of the trend, each found out of tolerance marked wherever its sum
    lies.
    """
    ends = [
        (before.day, before.value, after.day, after.value)
        for before, after in pairwise(visits)
        if not after.fresh
    ]
    drawn = [
        _points([_row(visit, visit.value, tolerance) for visit in some], "Drift", mark)
        for mark, some in found_groups(visits, SUMMED)
    ]
    return [*_lines(ends), *drawn]


def adjusted_days(visits: Iterable[Visit]) -> list[Spec]:
    """A mark on the foot for each day of an adjustment."""
    days = [visit.day for visit in visits if visit.adjusted]
    return _on_days(days, "adjusted", ADJUSTED.spec(y="height", yOffset=-6))


def failures(days: Iterable[dt.date]) -> list[Spec]:
    """A mark along the top for each day of a failure, which has no error to draw."""
    return _on_days(days, "found failed", FAILURE.spec(y=8))


def _on_days(days: Iterable[dt.date], what: str, mark: Spec) -> list[Spec]:
    rows = [{"on": day.isoformat(), "day": day_text(day), "what": what} for day in days]
    if not rows:
        return []
    tooltip = [{"field": "day", "title": "Day"}, {"field": "what", "title": "What"}]
    place = {"x": {"field": "on"}, "tooltip": tooltip}
    return [{"data": {"values": rows}, "mark": mark, "encoding": place}]


def new_levels(visits: Sequence[Visit]) -> list[Spec]:
    """Where a new level begins; the first begins with the history and is not marked."""
    rows = [{"on": visit.day.isoformat()} for visit in visits[1:] if visit.fresh]
    place = {"x": {"field": "on"}}
    return [{"data": {"values": rows}, "mark": NEW_LEVEL.spec(), "encoding": place}] if rows else []
