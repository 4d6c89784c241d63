"""How long a family stays in tolerance, as a picture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calibration.chart_marks import BOX, DIAMOND, LINE, RING, Mark
from calibration.charts import Number, Spec, layered, words
from plant.quantities import number, share_text

# ---- the marks, as the keys name them ----
_LINE = {"color": "var(--accent)", "strokeWidth": 2, "clip": True}
_WASH = {"color": "var(--accent)", "opacity": 0.17, "clip": True}
_POINT = {
    "filled": True,
    "size": 80,
    "opacity": 1,
    "stroke": "var(--accent)",
    "strokeWidth": 1.8,
    "clip": True,
}
FITTED = Mark("fitted curve", "line", LINE, _LINE)
COUNTED = Mark(
    "counted, no curve assumed",
    "line",
    "M1 3H9V13H23",
    {"color": "var(--ink)", "strokeWidth": 1.2, "clip": True, "strokeJoin": "round"},
)
TARGET = Mark("target", "rule", LINE, {"stroke": "var(--edge)", "strokeDash": [5, 4]})
ESTIMATE = Mark("interval by estimate", "point", RING, _POINT | {"fill": "var(--accent)"})
LIMIT = Mark("interval by limit", "point", RING, _POINT | {"fill": "var(--sheet)"})
IN_TOLERANCE = Mark(
    "in tolerance",
    "tick",
    "M7 4V12M12 4V12M17 4V12",
    {
        "orient": "vertical",
        "size": 9,
        "thickness": 1,
        "color": "var(--edge)",
        "yOffset": -6,
        "clip": True,
    },
)
OUT_OF_TOLERANCE = Mark(
    "out of tolerance",
    "point",
    DIAMOND,
    {
        "shape": "diamond",
        "size": 45,
        "strokeWidth": 1.5,
        "stroke": "var(--bad)",
        "fill": "var(--sheet)",
        "filled": True,
        "opacity": 1,
        "yOffset": -19,
        "clip": True,
    },
)

Corners = Sequence[tuple[Number, Number]]  # (months, share in tolerance)


@dataclass(frozen=True)
class Curve:
    """What a fit says: months, and at each the share in tolerance with its limits. line: empty
    where nothing failed. band: what the limits are, as the key says it.
    """

    months: Sequence[Number]
    line: Sequence[Number]
    low: Sequence[Number]
    high: Sequence[Number]
    band: str = "its band"


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
    key = _survival_key(curve, counted, (estimate, limit), (found_in, found_out))
    return layered(layers, x=x, y=y, height=290, key=key)


def _survival_key(
    curve: Curve | None,
    counted: Corners,
    months: tuple[Number | None, Number | None],
    found: tuple[Sequence[Number], Sequence[Number]],
) -> Iterator[Mark]:
    """The marks that the chart has."""
    if curve is not None:
        if curve.line:
            yield FITTED
        yield _band(curve)
    drawn = (
        (COUNTED, bool(counted)),
        (ESTIMATE, months[0] is not None),
        (LIMIT, months[1] is not None),
        (IN_TOLERANCE, len(found[0]) > 0),
        (OUT_OF_TOLERANCE, len(found[1]) > 0),
    )
    yield from (mark for mark, is_there in drawn if is_there)


def _band(curve: Curve) -> Mark:
    return Mark(curve.band, "area", BOX, _WASH)


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
    layers: list[Spec] = [
        {
            "data": {"values": rows},
            "mark": _band(curve).spec(),
            "encoding": {"x": {"field": "at"}, "y": {"field": "low"}, "y2": {"field": "high"}},
        },
    ]
    if curve.line:
        points = [{"at": at, "fit": fit} for at, fit in zip(curve.months, curve.line, strict=True)]
        layers.append(
            {
                "data": {"values": points},
                "mark": FITTED.spec(),
                "encoding": {"x": {"field": "at"}, "y": {"field": "fit"}},
            }
        )
    return layers


def _counted(corners: Corners) -> Spec:
    rows = [{"at": at, "share": share, "order": n} for n, (at, share) in enumerate(corners)]
    return {
        "data": {"values": rows},
        "mark": COUNTED.spec(),
        "encoding": {"x": {"field": "at"}, "y": {"field": "share"}, "order": {"field": "order"}},
    }


def _target(target: Number, estimate: Number | None, limit: Number | None) -> list[Spec]:
    """The target with its value, and where it is met: hollow by the lower edge, filled by the
    line.
    """
    rows = [{"share": target, "text": f"target {share_text(float(target))}"}]
    place: Spec = {"y": {"field": "share"}}
    at_the_end = {"align": "right", "x": "width", "dx": -3, "dy": -4, "baseline": "bottom"}
    layers: list[Spec] = [
        {"data": {"values": rows}, "mark": TARGET.spec(), "encoding": dict(place)},
        *words(rows, place, color="var(--ink)", **at_the_end),
    ]
    met = ((limit, "limit", LIMIT), (estimate, "estimate", ESTIMATE))
    return layers + [_met(at, target, word, mark) for at, word, mark in met if at is not None]


def _met(at: Number, target: Number, word: str, mark: Mark) -> Spec:
    rows = [{"at": at, "share": target, "months": number(at, 1), "what": word}]
    tooltip = [{"field": "what", "title": "Interval by"}, {"field": "months", "title": "Months"}]
    place = {"x": {"field": "at"}, "y": {"field": "share"}}
    return {
        "data": {"values": rows},
        "mark": mark.spec(),
        "encoding": place | {"tooltip": tooltip},
    }


def _feet(found_in: Sequence[Number], found_out: Sequence[Number]) -> list[Spec]:
    """Results by time since renewal: strokes for those found in, diamonds above them for those
    found out.
    """
    groups = ((found_in, IN_TOLERANCE), (found_out, OUT_OF_TOLERANCE))
    return [_foot(months, mark) for months, mark in groups if len(months)]


def _foot(months: Sequence[Number], mark: Mark) -> Spec:
    # A tenth of a month is the width of a stroke: results closer than that are drawn as one.
    times = Counter(round(float(at), 1) for at in months)
    rows = [{"at": at, "found": f"{n} {mark.name}"} for at, n in sorted(times.items())]
    tooltip = [{"field": "at", "title": "Months"}, {"field": "found", "title": "Found"}]
    return {
        "data": {"values": rows},
        "mark": mark.spec(y="height"),
        "encoding": {"x": {"field": "at"}, "tooltip": tooltip},
    }
