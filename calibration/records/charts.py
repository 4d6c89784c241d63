"""The errors of a calibration as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calibration.chart_marks import TOLERANCE, Mark
from calibration.charts import (
    Number,
    Spec,
    error_axis,
    error_scale,
    layered,
    tolerance_band,
    tolerance_words,
    zero_line,
)
from plant.level.tolerance import Limits
from plant.quantities import percent

Curve = Sequence[tuple[Number, Number]]  # (applied in % of span, error in % of span)
HEIGHT = 250

UP, DOWN = "M12 2.5 18 13H6z", "M12 13.5 6 3h12z"
POINT = {"filled": True, "size": 80, "opacity": 1, "stroke": "var(--ink)", "strokeWidth": 1.6}


def _mark(name: str, path: str, shape: str, fill: str) -> Mark:
    return Mark(name, "point", path, POINT | {"shape": shape, "fill": fill})


# Hollow as found, filled as left; rising readings point up, falling ones down.
FOUND_UP = _mark("as found, rising", UP, "triangle-up", "var(--sheet)")
FOUND_DOWN = _mark("as found, falling", DOWN, "triangle-down", "var(--sheet)")
LEFT_UP = _mark("as left, rising", UP, "triangle-up", "var(--ink)")
LEFT_DOWN = _mark("as left, falling", DOWN, "triangle-down", "var(--ink)")
RISING = Mark("rising", "line", "M1 8H23", {"color": "var(--edge)", "strokeWidth": 1.3})
FALLING = Mark("falling", "line", "M1 8H23", RISING.look | {"strokeDash": [5, 3]})
GUARD = Mark(
    "limit of acceptance",
    "rule",
    "M1 8H23",
    {"stroke": "var(--band-edge)", "strokeWidth": 1, "strokeDash": [5, 3]},
)


def error_curve(
    *,
    found_up: Curve = (),
    found_down: Curve = (),
    left_up: Curve = (),
    left_down: Curve = (),
    tolerance: Limits,
    guard: Number = 0,
) -> Spec:
    """Error against applied value, % of span: rising full, falling dashed; found hollow, left
    filled.

    guard: width of a guard band, whose inner edges are drawn dashed.
    """
    marks = (FOUND_UP, FOUND_DOWN, LEFT_UP, LEFT_DOWN)
    runs = zip(marks, (found_up, found_down, left_up, left_down), strict=True)
    curves = [(mark, curve) for mark, curve in runs if curve]
    guarded = _guard(tolerance, guard)
    layers = [
        *tolerance_band(tolerance),
        *guarded,
        zero_line(),
        *tolerance_words(tolerance),
        *(_line(mark, curve) for mark, curve in curves),
        *(_points(mark, curve, tolerance.size) for mark, curve in curves),
    ]
    errors = [error for _, curve in curves for _, error in curve]
    y = error_axis("Error, % of span", tolerance, error_scale(errors, tolerance, HEIGHT))
    key = [*(mark for mark, _ in curves), *([GUARD] if guarded else []), TOLERANCE]
    return layered(layers, x=_applied_axis(curves), y=y, height=HEIGHT, key=key)


X = {"field": "applied", "type": "quantitative"}


def _line(mark: Mark, curve: Curve) -> Spec:
    rows = [{"applied": at, "error": error, "order": n} for n, (at, error) in enumerate(curve)]
    return {
        "data": {"values": rows},
        "mark": (FALLING if mark in (FOUND_DOWN, LEFT_DOWN) else RISING).spec(),
        "encoding": {"x": X, "y": {"field": "error"}, "order": {"field": "order"}},
    }


def _points(mark: Mark, curve: Curve, tolerance: Number) -> Spec:
    rows = [
        {"applied": at, "error": error, "run": mark.name, "value": percent(error, tolerance)}
        for at, error in curve
    ]
    tooltip: list[dict[str, Any]] = [
        {"field": "run", "title": "Reading"},
        {"field": "applied", "title": "Applied, %"},
        {"field": "value", "title": "Error, % of span"},
    ]
    return {
        "data": {"values": rows},
        "mark": mark.spec(),
        "encoding": {"x": X, "y": {"field": "error"}, "tooltip": tooltip},
    }


def _applied_axis(curves: Sequence[tuple[Mark, Curve]]) -> Spec:
    applied = [value for _, curve in curves for value, _ in curve]
    return X | {
        "title": "Applied, % of span",
        "scale": {"domain": [min([0, *applied]), max([100, *applied])], "nice": False},
        "axis": {"grid": False, "tickCount": 5},
    }


def _guard(tolerance: Limits, guard: Number) -> list[Spec]:
    """The limits of acceptance inside the tolerance; none where the band would take it all."""
    if not 0 < guard < tolerance.half:
        return []
    edges = [{"at": at - guard if at > 0 else at + guard} for at in tolerance.edges]
    return [{"data": {"values": edges}, "mark": GUARD.spec(), "encoding": {"y": {"field": "at"}}}]
