"""The charts, each one Vega-Lite dict: drawn in the page by its script and to SVG for print.

Colours are names of the look's tokens ("var(--ink)"): in a page the browser fills them in, so a
chart follows the theme and the paper by itself; for print ``svg`` puts the paper's values in. Every
time scale is UTC, or the same chart would differ by a day between time zones.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from plant.quantities import day_text, percent

Spec = dict[str, Any]
Number = float | int

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
# The tokens as ink on paper; names as in deploy/static/look.css.
PAPER = {
    "sheet": "#ffffff",
    "ink": "#000000",
    "soft": "#333333",
    "line": "#bbbbbb",
    "edge": "#555555",
    "accent": "#0b5d68",
    "accent-fill": "#7fadb1",
    "bad": "#a1281a",
    "band": "#e3ece1",
    "band-edge": "#6f9478",
    "text": "Liberation Sans, DejaVu Sans, sans-serif",
}
PLUS_MINUS = "datum.value == 0 ? '0' : format(datum.value, '+.{}f')"


class WorkWeek(NamedTuple):
    """One week of the workload picture."""

    starts_on: date
    hours: float
    points: int
    url: str = ""


# ---- drift ----
def drift_chart(
    *,
    found_on: Sequence[str],
    found: Sequence[Number],
    line_on: Sequence[str] = (),
    line: Sequence[Number] = (),
    band_low: Sequence[Number] = (),
    band_high: Sequence[Number] = (),
    tolerance: Number,
    crossing_on: str | None = None,
    was_out: Sequence[bool] = (),
    adjusted_on: Sequence[str] = (),
    steps: Sequence[tuple[str, str]] = (),
    left_out_on: Sequence[str] = (),
    left_out: Sequence[Number] = (),
    unit: str = "% of span",
) -> Spec:
    """Accumulated drift against time with tolerance, fitted line, 95 % band and crossing day.

    Days are ISO dates, values in ``unit``; line, band_low and band_high share line_on's length.
    was_out: per result, whether it was found out of tolerance; not given, none was. adjusted_on:
    days of an adjustment.
    steps: (day, word) where a new segment starts, as at a swap.
    left_out: results that the fit leaves aside (a failure, an outlier), shown as crosses.
    """
    digits = 3 if tolerance < 0.5 else 2
    every = [*found_on, *line_on, *left_out_on, *([crossing_on] if crossing_on else [])]
    layers = [*_tolerance(tolerance), _zero()]
    if line_on:
        rows = [
            {"on": on, "low": low, "high": high, "fit": fit}
            for on, low, high, fit in zip(line_on, band_low, band_high, line, strict=True)
        ]
        layers += _fit(rows)
    layers += _day_rules(adjusted_on, steps)
    layers.append(_results(found_on, found, tolerance, was_out or [False] * len(found)))
    if left_out_on:
        layers.append(_crosses(left_out_on, left_out))
    if crossing_on:
        layers += _crossing(crossing_on, every)
    return layered(
        layers,
        x=_days(every),
        y=_errors(f"Drift, {unit}", digits),
        height=270,
    )


def _fit(rows: list[Spec]) -> list[Spec]:
    area = {"type": "area", "color": "var(--accent)", "opacity": 0.17, "clip": True}
    line = {"type": "line", "color": "var(--accent)", "strokeWidth": 2, "clip": True}
    return [
        {
            "data": {"values": rows},
            "mark": area,
            "encoding": {"x": {"field": "on"}, "y": {"field": "low"}, "y2": {"field": "high"}},
        },
        {
            "data": {"values": rows},
            "mark": line,
            "encoding": {"x": {"field": "on"}, "y": {"field": "fit"}},
        },
    ]


def _results(
    days: Sequence[str], values: Sequence[Number], tolerance: Number, was_out: Sequence[bool]
) -> Spec:
    rows = [
        _told(on, value, tolerance) | {"outside": out}
        for on, value, out in zip(days, values, was_out, strict=True)
    ]
    return {
        "data": {"values": rows},
        "mark": {"type": "point", "filled": True, "size": 75, "opacity": 1, "strokeWidth": 1.8},
        "encoding": {
            "x": {"field": "on"},
            "y": {"field": "value"},
            "tooltip": _tooltip("Drift"),
            "fill": {"value": "var(--sheet)"},
            "stroke": _if_outside("var(--bad)", "var(--ink)"),
            "shape": _if_outside("diamond", "circle"),
        },
    }


def _crosses(days: Sequence[str], values: Sequence[Number]) -> Spec:
    rows = [_told(on, value, None) for on, value in zip(days, values, strict=True)]
    mark = {"type": "point", "shape": "M-1-1L1 1M-1 1L1-1", "size": 60, "strokeWidth": 2}
    return {
        "data": {"values": rows},
        "mark": mark | {"stroke": "var(--soft)", "opacity": 1, "clip": True},
        "encoding": {
            "x": {"field": "on"},
            "y": {"field": "value"},
            "tooltip": _tooltip("Left out"),
        },
    }


def _day_rules(adjusted_on: Sequence[str], steps: Sequence[tuple[str, str]]) -> list[Spec]:
    layers: list[Spec] = []
    if adjusted_on:
        mark = {"type": "point", "shape": "triangle-up", "filled": True, "size": 50, "yOffset": -5}
        layers.append(
            {
                "data": {"values": [_word(on, "adjusted") for on in adjusted_on]},
                "mark": mark | {"color": "var(--edge)", "opacity": 1, "y": "height"},
                "encoding": {"x": {"field": "on"}, "tooltip": _tooltip("What")},
            }
        )
    if steps:
        rows = [_word(on, word) for on, word in steps]
        rule = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 3]}
        text = {"type": "text", "align": "left", "dx": 5, "y": 19, "color": "var(--soft)"}
        layers += [
            {"data": {"values": rows}, "mark": rule, "encoding": {"x": {"field": "on"}}},
            {
                "data": {"values": rows},
                "mark": text,
                "encoding": {"x": {"field": "on"}, "text": {"field": "value"}},
            },
        ]
    return layers


def _word(on: str, word: str) -> Spec:
    return {"on": on, "day": _day(on), "value": word}


def _crossing(on: str, every: Sequence[str]) -> list[Spec]:
    """The day on which the band meets the tolerance; its words stand where there is room."""
    late = sum(day < on for day in every) * 2 > len(every)
    rows = [{"on": on, "text": f"band meets tolerance\n{_day(on)}"}]
    text = {"type": "text", "align": "right" if late else "left", "dx": -6 if late else 6}
    return [
        {
            "data": {"values": rows},
            "mark": {
                "type": "rule",
                "stroke": "var(--bad)",
                "strokeDash": [5, 4],
                "strokeWidth": 1.5,
            },
            "encoding": {"x": {"field": "on"}},
        },
        {
            "data": {"values": rows},
            "mark": text
            | {
                "y": "height",
                "dy": -34,
                "lineBreak": "\n",
                "color": "var(--bad)",
                "fontWeight": 600,
            },
            "encoding": {"x": {"field": "on"}, "text": {"field": "text"}},
        },
    ]


# ---- error curve ----
Curve = Sequence[tuple[Number, Number]]  # (applied in % of span, error in % of span)


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
    rows = [
        {
            "state": state,
            "direction": direction,
            "applied": applied,
            "error": error,
            "order": order,
            "run": f"{state}, {direction}",
            "value": percent(error, tolerance),
        }
        for state, direction, curve in runs
        for order, (applied, error) in enumerate(curve)
    ]
    values = {"data": {"values": rows}}
    x, y = {"field": "applied", "type": "quantitative"}, {"field": "error"}
    tooltip = [
        {"field": "run", "title": "Reading"},
        {"field": "applied", "title": "Applied, %"},
        {"field": "value", "title": "Error, % of span"},
    ]
    line = {"type": "line", "color": "var(--edge)", "strokeWidth": 1.3}
    dash = {"condition": {"test": "datum.direction == 'falling'", "value": [5, 3]}, "value": [1, 0]}
    point = {"type": "point", "stroke": "var(--ink)", "size": 80, "strokeWidth": 1.6, "opacity": 1}
    marks = [
        {
            **values,
            "mark": line,
            "encoding": {
                "x": x,
                "y": y,
                "detail": {"field": "run"},
                "strokeDash": dash,
                "order": {"field": "order"},
            },
        },
        {
            **values,
            "mark": point | {"filled": True},
            "encoding": {
                "x": x,
                "y": y,
                "tooltip": tooltip,
                "shape": _scale(
                    "direction", ["rising", "falling"], ["triangle-up", "triangle-down"]
                ),
                "fill": _scale("state", ["as found", "as left"], ["var(--sheet)", "var(--ink)"]),
            },
        },
    ]
    axis = {
        "field": "applied",
        "type": "quantitative",
        "title": "Applied, % of span",
        "scale": {"domain": _reach([applied for _, _, curve in runs for applied, _ in curve])},
        "axis": {"grid": False, "tickCount": 5},
    }
    digits = 3 if tolerance < 0.5 else 2
    layers = [*_tolerance(tolerance), *_guard(tolerance, guard), _zero(), *marks]
    return layered(layers, x=axis, y=_errors("Error, % of span", digits), height=250)


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


def _reach(applied: Sequence[Number]) -> list[Number]:
    return [min([0, *applied]), max([100, *applied])]


# ---- what both share ----
def _tolerance(tolerance: Number) -> list[Spec]:
    rows = [{"low": -tolerance, "high": tolerance}]
    edges = [{"at": -tolerance}, {"at": tolerance}]
    return [
        {
            "data": {"values": rows},
            "mark": {"type": "rect", "color": "var(--band)"},
            "encoding": {"y": {"field": "low"}, "y2": {"field": "high"}},
        },
        {
            "data": {"values": edges},
            "mark": {"type": "rule", "stroke": "var(--band-edge)"},
            "encoding": {"y": {"field": "at"}},
        },
    ]


def _guard(tolerance: Number, guard: Number) -> list[Spec]:
    """The limits of acceptance inside the tolerance; none where the band would take it all."""
    if not 0 < guard < tolerance:
        return []
    mark = {"type": "rule", "stroke": "var(--band-edge)", "strokeDash": [5, 3]}
    edges = [{"at": guard - tolerance}, {"at": tolerance - guard}]
    return [{"data": {"values": edges}, "mark": mark, "encoding": {"y": {"field": "at"}}}]


def _zero() -> Spec:
    mark = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 2]}
    return {"data": {"values": [{"at": 0}]}, "mark": mark, "encoding": {"y": {"field": "at"}}}


def _days(every: Iterable[str]) -> Spec:
    axis = {"grid": False, "tickCount": 6, "labelOverlap": True}
    return {
        "field": "on",
        "type": "temporal",
        "title": None,
        "scale": {"type": "utc", "padding": 10},
        "axis": axis,
    }


def _errors(title: str, digits: int) -> Spec:
    axis = {"labelExpr": PLUS_MINUS.format(digits), "grid": True, "tickCount": 6, "domain": False}
    scale = {"zero": True, "nice": False, "padding": 8}
    return {"field": "y", "type": "quantitative", "title": title, "axis": axis, "scale": scale}


def _told(on: str, value: Number, tolerance: Number | None) -> Spec:
    outside = tolerance is not None and abs(value) > tolerance
    return {
        "on": on,
        "day": _day(on),
        "value": value,
        "outside": outside,
        "text": percent(value, tolerance),
    }


def _tooltip(title: str) -> list[Spec]:
    field = "text" if title != "What" else "value"
    return [{"field": "day", "title": "Day"}, {"field": field, "title": title}]


def _if_outside(outside: str, inside: str) -> Spec:
    return {"condition": {"test": "datum.outside", "value": outside}, "value": inside}


def _day(on: str) -> str:
    return day_text(date.fromisoformat(on))


def layered(layers: list[Spec], *, x: Spec, y: Spec, height: int) -> Spec:
    """Layers on common axes, in the look's hairlines. Each layer names its own fields."""
    for layer in layers:
        encoding = layer["encoding"]
        for channel, whole in (("x", x), ("y", y)):
            if channel in encoding:
                encoding[channel] = whole | {"field": encoding[channel]["field"]}
    return {
        "$schema": SCHEMA,
        "width": "container",
        "height": height,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "background": None,
        "layer": layers,
        "config": _config(),
    }


def _config() -> Spec:
    hairline = {
        "domainColor": "var(--edge)",
        "tickColor": "var(--edge)",
        "gridColor": "var(--line)",
    }
    words = {"labelColor": "var(--soft)", "titleColor": "var(--soft)", "labelFontSize": 12}
    return {
        # The figure carries one description for the whole; its parts need no voice of their own.
        "aria": False,
        "mark": {"aria": False},
        "font": "var(--text)",
        "view": {"stroke": None},
        "axis": {"aria": False}
        | hairline
        | words
        | {"titleFontSize": 12, "titleFontWeight": "normal"},
        "legend": {
            "aria": False,
            "labelColor": "var(--soft)",
            "labelFontSize": 12,
            "symbolSize": 80,
        },
        "text": {"fontSize": 12},
    }


# ---- print and the page's script ----
def svg(spec: Spec, *, width: int = 640) -> str:
    """The chart as SVG text for paper, black on white; the same bytes for the same spec."""
    import vl_convert  # 84 MB: loaded only where something is printed

    printed = _on_paper(spec) | {"width": width}
    return _renumbered(vl_convert.vegalite_to_svg(json.dumps(printed)))


def _renumbered(drawn: str) -> str:
    """Clip paths are numbered on and on within a process; count them from one in each picture."""
    names = dict.fromkeys(re.findall(r'id="(clip\d+)"', drawn))
    numbers = {name: f"clip{i}" for i, name in enumerate(names, 1)}
    return re.sub(r"\bclip\d+\b", lambda found: numbers.get(found[0], found[0]), drawn)


def _on_paper(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _on_paper(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_on_paper(value) for value in node]
    if isinstance(node, str) and node.startswith("var(--"):
        return PAPER[node[6:-1]]
    return node


def ensure_script(folder: Path) -> Path:
    """The drawing library for pages, written to ``folder``/vega.js unless this version is there."""
    import vl_convert

    path = folder / "vega.js"
    first_line = f"// drawing library of vl-convert {version('vl-convert-python')}\n"
    if path.exists():
        with path.open(encoding="utf-8") as file:
            if file.readline() == first_line:
                return path
    folder.mkdir(parents=True, exist_ok=True)
    fresh = path.with_suffix(".new")
    library = vl_convert.javascript_bundle()  # type: ignore[call-arg]  # its stub forgets the default
    fresh.write_text(first_line + library, encoding="utf-8")
    # Put in place whole: a server that starts beside us must never read half a script.
    fresh.replace(path)
    return path
