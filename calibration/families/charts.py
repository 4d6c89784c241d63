"""The two pictures of a family: how long it stays in tolerance, and how the rates of its members
spread.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.charts import PLUS_MINUS, Number, Spec, layered
from plant.quantities import number, percent

Corners = Sequence[tuple[Number, Number]]  # (months, share in tolerance)


@dataclass(frozen=True)
class Curve:
    """What a fit says: months, and at each the share in tolerance with its limits. line: empty
    where nothing failed.
    """

    months: Sequence[Number]
    line: Sequence[Number]
    low: Sequence[Number]
    high: Sequence[Number]


# ---- how long it stays in tolerance ----
def survival_chart(
    curve: Curve | None,
    *,
    counted: Corners = (),
    until: Number,
    target: Number,
    estimate: Number | None = None,
    limit: Number | None = None,
    found_in: Sequence[Number] = (),
    found_out: Sequence[Number] = (),
) -> Spec:
    """Share in tolerance by months since renewal: fitted line in its band, the counted curve,
    results along the foot.

    counted: corners of the curve without a law. until: the last month shown. estimate, limit:
    months at which line and lower edge meet the target. found_in, found_out: months of each result.
    Shares run from 0 to 1.
    """
    layers = [*_target(target, estimate, limit), *_feet(found_in, found_out)]
    if counted:
        layers.insert(0, _counted(counted))
    if curve is not None:
        layers[:0] = _curve(curve)
    lowest = min([target, *(share for _, share in counted), *(curve.low if curve else ())])
    x = {
        "type": "quantitative",
        "title": "Months since renewal",
        "scale": {"domain": [0, until], "nice": False},
        "axis": {"grid": False, "values": _ticks(until)},
    }
    y = {
        "type": "quantitative",
        "title": "In tolerance",
        "scale": {"domain": [_floor(lowest), 1], "nice": False},
        "axis": {
            "labelExpr": "format(100 * datum.value, '.0f') + ' %'",
            "tickCount": 6,
            "domain": False,
        },
    }
    return layered(layers, x=x, y=y, height=290)


def _ticks(until: Number) -> list[int]:
    step = next((step for step in (1, 3, 6, 12, 24) if until <= 10 * step), 60)
    return list(range(0, int(until) + 1, step))


def _floor(lowest: Number) -> float:
    """A tenth below the lowest value, so that the marks along the foot stand free."""
    return max(0.0, int(10 * lowest - 1) / 10)


def _curve(curve: Curve) -> list[Spec]:
    rows = [
        {"at": at, "low": low, "high": high}
        for at, low, high in zip(curve.months, curve.low, curve.high, strict=True)
    ]
    area = {"type": "area", "color": "var(--accent)", "opacity": 0.17, "clip": True}
    line = {"type": "line", "color": "var(--accent)", "strokeWidth": 2, "clip": True}
    layers: list[Spec] = [
        {
            "data": {"values": rows},
            "mark": area,
            "encoding": {"x": {"field": "at"}, "y": {"field": "low"}, "y2": {"field": "high"}},
        },
    ]
    if curve.line:
        points = [{"at": at, "fit": fit} for at, fit in zip(curve.months, curve.line, strict=True)]
        layers.append(
            {
                "data": {"values": points},
                "mark": line,
                "encoding": {"x": {"field": "at"}, "y": {"field": "fit"}},
            }
        )
    return layers


def _counted(corners: Corners) -> Spec:
    rows = [{"at": at, "share": share, "order": n} for n, (at, share) in enumerate(corners)]
    mark = {
        "type": "line",
        "color": "var(--ink)",
        "strokeWidth": 1.2,
        "clip": True,
        "strokeJoin": "round",
    }
    return {
        "data": {"values": rows},
        "mark": mark,
        "encoding": {"x": {"field": "at"}, "y": {"field": "share"}, "order": {"field": "order"}},
    }


def _target(target: Number, estimate: Number | None, limit: Number | None) -> list[Spec]:
    """The target, and where it is met: hollow by the lower edge, filled by the line."""
    rule = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [5, 4]}
    layers: list[Spec] = [
        {
            "data": {"values": [{"share": target}]},
            "mark": rule,
            "encoding": {"y": {"field": "share"}},
        }
    ]
    met = [(limit, "limit", "var(--sheet)"), (estimate, "estimate", "var(--accent)")]
    for at, word, fill in met:
        if at is None:
            continue
        rows = [{"at": at, "share": target, "months": number(at, 1), "what": word}]
        mark = {
            "type": "point",
            "filled": True,
            "size": 80,
            "opacity": 1,
            "stroke": "var(--accent)",
            "strokeWidth": 1.8,
            "fill": fill,
            "clip": True,
        }
        tooltip = [
            {"field": "what", "title": "Interval by"},
            {"field": "months", "title": "Months"},
        ]
        place = {"x": {"field": "at"}, "y": {"field": "share"}}
        layers.append(
            {"data": {"values": rows}, "mark": mark, "encoding": place | {"tooltip": tooltip}}
        )
    return layers


def _feet(found_in: Sequence[Number], found_out: Sequence[Number]) -> list[Spec]:
    """Results by time since renewal: strokes for those found in, diamonds above them for those
    found out.
    """
    groups = ((found_in, "in tolerance", STROKE), (found_out, "out of tolerance", DIAMOND))
    return [_foot(months, word, mark) for months, word, mark in groups if len(months)]


STROKE = {
    "type": "tick",
    "orient": "vertical",
    "size": 9,
    "thickness": 1,
    "color": "var(--edge)",
    "yOffset": -6,
}
DIAMOND = {
    "type": "point",
    "shape": "diamond",
    "size": 45,
    "strokeWidth": 1.5,
    "stroke": "var(--bad)",
    "fill": "var(--sheet)",
    "filled": True,
    "opacity": 1,
    "yOffset": -19,
}


def _foot(months: Sequence[Number], word: str, mark: Spec) -> Spec:
    # A tenth of a month is the width of a stroke: results closer than that are drawn as one.
    times = Counter(round(float(at), 1) for at in months)
    rows = [{"at": at, "found": f"{n} {word}"} for at, n in sorted(times.items())]
    tooltip = [{"field": "at", "title": "Months"}, {"field": "found", "title": "Found"}]
    return {
        "data": {"values": rows},
        "mark": mark | {"y": "height", "clip": True},
        "encoding": {"x": {"field": "at"}, "tooltip": tooltip},
    }


# ---- how the rates spread ----
@dataclass(frozen=True)
class Rate:
    """A member's drift at one end, % of span a year, with its 95 % interval."""

    tag: str
    rate: Number
    low: Number
    high: Number


def rates_chart(
    rates: Sequence[Rate], *, mean: Number | None, spread: Number | None, tolerance: Number | None
) -> Spec:
    """One line a member, fastest upwards on top, over the family's mean and two standard deviations
    about it.
    """
    layers = [*_normal(mean, spread), _zero_rule(), *_rate_marks(rates, tolerance)]
    x = {
        "type": "quantitative",
        "title": "Rate, % of span a year",
        "scale": {"nice": False, "padding": 8},
        "axis": {"tickCount": 5, "labelExpr": PLUS_MINUS.format(2)},
    }
    y = {
        "type": "nominal",
        "title": None,
        "sort": [r.tag for r in rates],
        "axis": {"ticks": False, "domain": False, "labelPadding": 8},
    }
    return layered(layers, x=x, y=y, height=max(90, 22 * len(rates) + 10))


def _zero_rule() -> Spec:
    mark = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 2]}
    return {"data": {"values": [{"at": 0}]}, "mark": mark, "encoding": {"x": {"field": "at"}}}


def _rate_marks(rates: Sequence[Rate], tolerance: Number | None) -> list[Spec]:
    """A dot for each rate on a line as long as its 95 % interval."""
    rows = [
        {
            "tag": r.tag,
            "rate": r.rate,
            "low": r.low,
            "high": r.high,
            "text": percent(r.rate, tolerance),
            "from": percent(r.low, tolerance),
            "to": percent(r.high, tolerance),
        }
        for r in rates
    ]
    reach = {"type": "rule", "stroke": "var(--edge)", "strokeWidth": 1.3}
    dot = {"type": "point", "filled": True, "size": 55, "opacity": 1, "fill": "var(--sheet)"}
    y = {"field": "tag"}
    return [
        {
            "data": {"values": rows},
            "mark": reach,
            "encoding": {"x": {"field": "low"}, "x2": {"field": "high"}, "y": y},
        },
        {
            "data": {"values": rows},
            "mark": dot | {"stroke": "var(--ink)", "strokeWidth": 1.6},
            "encoding": {
                "x": {"field": "rate"},
                "y": y,
                "tooltip": [
                    {"field": "tag", "title": "Point"},
                    {"field": "text", "title": "Rate"},
                    {"field": "from", "title": "95 % from"},
                    {"field": "to", "title": "to"},
                ],
            },
        },
    ]


def _normal(mean: Number | None, spread: Number | None) -> list[Spec]:
    if mean is None or spread is None:
        return []
    rows = [{"low": mean - 2 * spread, "high": mean + 2 * spread, "mean": mean}]
    wash = {"type": "rect", "color": "var(--accent)", "opacity": 0.17}
    rule = {"type": "rule", "stroke": "var(--accent)", "strokeWidth": 2}
    return [
        {
            "data": {"values": rows},
            "mark": wash,
            "encoding": {"x": {"field": "low"}, "x2": {"field": "high"}},
        },
        {"data": {"values": rows}, "mark": rule, "encoding": {"x": {"field": "mean"}}},
    ]
