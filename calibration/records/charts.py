"""The errors of a calibration as a picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from calibration.charts import Number, Spec, error_axis, layered, tolerance_band, zero_line
from plant.quantities import percent

Curve = Sequence[tuple[Number, Number]]  # (applied in % of span, error in % of span)
Runs = Sequence[tuple[str, str, Curve]]  # as found or as left, rising or falling, its points


def error_curve(
    *,
    found_up: Curve = (),
    found_down: Curve = (),
    left_up: Curve = (),
    left_down: Curve = (),
    tolerance: Number,
    guard: Number = 0,
) -> Spec:
    """Error against applied value, % of span: rising full, falling dashed; found hollow, left
    filled.

    guard: width of a guard band, whose inner edges are drawn dashed.
    """
    runs = (
        ("as found", "rising", found_up),
        ("as found", "falling", found_down),
        ("as left", "rising", left_up),
        ("as left", "falling", left_down),
    )
    values = {"values": list(_rows(runs, tolerance))}
    layers = [
        *tolerance_band(tolerance),
        *_guard(tolerance, guard),
        zero_line(),
        _lines(values),
        _points(values),
    ]
    y = error_axis("Error, % of span", tolerance)
    return layered(layers, x=_applied_axis(runs), y=y, height=250)


def _rows(runs: Runs, tolerance: Number) -> Iterator[Spec]:
    for state, direction, curve in runs:
        for order, (applied, error) in enumerate(curve):
            yield {
                "state": state,
                "direction": direction,
                "applied": applied,
                "error": error,
                "order": order,
                "run": f"{state}, {direction}",
                "value": percent(error, tolerance),
            }


X = {"field": "applied", "type": "quantitative"}


def _lines(values: Spec) -> Spec:
    falling = {"test": "datum.direction == 'falling'", "value": [5, 3]}
    return {
        "data": values,
        "mark": {"type": "line", "color": "var(--edge)", "strokeWidth": 1.3},
        "encoding": {
            "x": X,
            "y": {"field": "error"},
            "detail": {"field": "run"},
            "strokeDash": {"condition": falling, "value": [1, 0]},
            "order": {"field": "order"},
        },
    }


def _points(values: Spec) -> Spec:
    mark = {"type": "point", "stroke": "var(--ink)", "size": 80, "strokeWidth": 1.6, "opacity": 1}
    return {
        "data": values,
        "mark": mark | {"filled": True},
        "encoding": {
            "x": X,
            "y": {"field": "error"},
            "tooltip": [
                {"field": "run", "title": "Reading"},
                {"field": "applied", "title": "Applied, %"},
                {"field": "value", "title": "Error, % of span"},
            ],
            "shape": _scale("direction", ["rising", "falling"], ["triangle-up", "triangle-down"]),
            "fill": _scale("state", ["as found", "as left"], ["var(--sheet)", "var(--ink)"]),
        },
    }


def _applied_axis(runs: Runs) -> Spec:
    applied = [value for _, _, curve in runs for value, _ in curve]
    return X | {
        "title": "Applied, % of span",
        "scale": {"domain": [min([0, *applied]), max([100, *applied])]},
        "axis": {"grid": False, "tickCount": 5},
    }


def _scale(field: str, domain: list[str], range_: list[Any]) -> Spec:
    """A nominal encoding with its legend."""
    legend: Spec = {"title": None, "orient": "bottom", "symbolStrokeColor": "var(--ink)"}
    if field != "state":
        legend["symbolFillColor"] = "var(--soft)"
    return {
        "field": field,
        "type": "nominal",
        "scale": {"domain": domain, "range": range_},
        "legend": legend,
    }


def _guard(tolerance: Number, guard: Number) -> list[Spec]:
    """The limits of acceptance inside the tolerance; none where the band would take it all."""
    if not 0 < guard < tolerance:
        return []
    mark = {"type": "rule", "stroke": "var(--band-edge)", "strokeDash": [5, 3]}
    edges = [{"at": guard - tolerance}, {"at": tolerance - guard}]
    return [{"data": {"values": edges}, "mark": mark, "encoding": {"y": {"field": "at"}}}]
