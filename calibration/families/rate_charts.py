"""How the rates of a family's members spread, as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.chart_marks import BOX, LINE, POST, RING, Mark
from calibration.charts import PLUS_MINUS, Number, Spec, layered
from plant.quantities import percent

RATE = Mark(
    "rate of a member",
    "point",
    RING,
    {
        "filled": True,
        "size": 55,
        "opacity": 1,
        "fill": "var(--sheet)",
        "stroke": "var(--ink)",
        "strokeWidth": 1.6,
    },
)
REACH = Mark("its 95 % interval", "rule", LINE, {"stroke": "var(--edge)", "strokeWidth": 1.3})
USUAL = Mark(
    "usual rate of the family", "rule", POST, {"stroke": "var(--accent)", "strokeWidth": 2}
)
SPREAD = Mark(
    "two standard deviations about it", "rect", BOX, {"color": "var(--accent)", "opacity": 0.17}
)


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
    usual = [] if mean is None or spread is None else [USUAL, SPREAD]
    key = [*([RATE, REACH] if rates else []), *usual]
    return layered(layers, x=x, y=y, height=max(90, 22 * len(rates) + 10), key=key)


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
    y = {"field": "tag"}
    return [
        {
            "data": {"values": rows},
            "mark": REACH.spec(),
            "encoding": {"x": {"field": "low"}, "x2": {"field": "high"}, "y": y},
        },
        {
            "data": {"values": rows},
            "mark": RATE.spec(),
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
    return [
        {
            "data": {"values": rows},
            "mark": SPREAD.spec(),
            "encoding": {"x": {"field": "low"}, "x2": {"field": "high"}},
        },
        {"data": {"values": rows}, "mark": USUAL.spec(), "encoding": {"x": {"field": "mean"}}},
    ]
