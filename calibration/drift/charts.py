"""The drift of a transmitter as a picture."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from calibration.charts import Number, Spec, error_axis, layered, tolerance_band, zero_line
from calibration.drift.reads import Drift
from plant.quantities import day_text, percent

POINTS_OF_LINE = 60
NEW_LEVEL = "new level"


def chart_of(drift: Drift, *, today: dt.date, due: dt.date) -> Spec:
    """Results so far; from the last one on the expected drift and the 95 % band of the next as
    found.
    """
    days = _days_ahead(drift, today, due)
    band = drift.ahead(days)
    on = drift.crossing_on
    is_shown = on is not None and drift.days[-1] < on <= days[-1]
    # The first level begins with the history; only later ones are marked.
    levels = [day for day, new in zip(drift.days[1:], drift.fresh[1:], strict=True) if new]
    return drift_chart(
        found_on=[day.isoformat() for day in drift.days],
        found=drift.values,
        line_on=[day.isoformat() for day in days],
        line=band.centre[:, 0].tolist(),
        band_low=band.lower[:, 0].tolist(),
        band_high=band.upper[:, 0].tolist(),
        tolerance=drift.tolerance,
        crossing_on=on.isoformat() if on and is_shown else None,
        was_out=drift.out,
        adjusted_on=[
            day.isoformat() for day, was in zip(drift.days, drift.adjusted, strict=True) if was
        ],
        levels=[(day.isoformat(), NEW_LEVEL) for day in levels],
    )


def _days_ahead(drift: Drift, today: dt.date, due: dt.date) -> list[dt.date]:
    first, last = drift.days[0], drift.days[-1]
    until = max(
        today + dt.timedelta(days=180), due + dt.timedelta(days=90), last + dt.timedelta(days=365)
    )
    on = drift.crossing_on
    if on and on < last + 2 * (last - first):
        until = max(until, on + dt.timedelta(days=90))
    days = (until - last).days
    return [
        last + dt.timedelta(days=round(days * n / (POINTS_OF_LINE - 1)))
        for n in range(POINTS_OF_LINE)
    ]


# ---- the picture ----
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
    levels: Sequence[tuple[str, str]] = (),
) -> Spec:
    """Accumulated drift against time with tolerance, fitted line, 95 % band and crossing day.

    Days are ISO dates, values in % of span; line, band_low and band_high share line_on's length.
    was_out: per result, whether it was found out of tolerance; not given, none was. adjusted_on:
    days of an adjustment. levels: (day, word) where a new level begins, as after a jump.
    """
    every = [*found_on, *line_on, *([crossing_on] if crossing_on else [])]
    layers = [
        *tolerance_band(tolerance),
        zero_line(),
        *_fit(line_on, line, band_low, band_high),
        *_adjustments(adjusted_on),
        *_levels(levels),
        _results(found_on, found, tolerance, was_out or [False] * len(found)),
        *_crossing(crossing_on, every),
    ]
    y = error_axis("Drift, % of span", tolerance)
    return layered(layers, x=_time_axis(), y=y, height=270)


def _fit(
    days: Sequence[str], line: Sequence[Number], low: Sequence[Number], high: Sequence[Number]
) -> list[Spec]:
    if not days:
        return []
    rows = [
        {"on": on, "low": lower, "high": upper, "fit": fit}
        for on, lower, upper, fit in zip(days, low, high, line, strict=True)
    ]
    area = {"type": "area", "color": "var(--accent)", "opacity": 0.17, "clip": True}
    stroke = {"type": "line", "color": "var(--accent)", "strokeWidth": 2, "clip": True}
    return [
        {
            "data": {"values": rows},
            "mark": area,
            "encoding": {"x": {"field": "on"}, "y": {"field": "low"}, "y2": {"field": "high"}},
        },
        {
            "data": {"values": rows},
            "mark": stroke,
            "encoding": {"x": {"field": "on"}, "y": {"field": "fit"}},
        },
    ]


def _results(
    days: Sequence[str], values: Sequence[Number], tolerance: Number, was_out: Sequence[bool]
) -> Spec:
    rows = [
        {
            "on": on,
            "day": _day(on),
            "value": value,
            "text": percent(value, tolerance),
            "outside": out,
        }
        for on, value, out in zip(days, values, was_out, strict=True)
    ]
    return {
        "data": {"values": rows},
        "mark": {"type": "point", "filled": True, "size": 75, "opacity": 1, "strokeWidth": 1.8},
        "encoding": {
            "x": {"field": "on"},
            "y": {"field": "value"},
            "tooltip": _tooltip("text", "Drift"),
            "fill": {"value": "var(--sheet)"},
            "stroke": _if_outside("var(--bad)", "var(--ink)"),
            "shape": _if_outside("diamond", "circle"),
        },
    }


def _adjustments(days: Sequence[str]) -> list[Spec]:
    if not days:
        return []
    mark = {"type": "point", "shape": "triangle-up", "filled": True, "size": 50, "yOffset": -5}
    return [
        {
            "data": {"values": [_word(on, "adjusted") for on in days]},
            "mark": mark | {"color": "var(--edge)", "opacity": 1, "y": "height"},
            "encoding": {"x": {"field": "on"}, "tooltip": _tooltip("value", "What")},
        }
    ]


def _levels(levels: Sequence[tuple[str, str]]) -> list[Spec]:
    if not levels:
        return []
    rows = [_word(on, word) for on, word in levels]
    rule = {"type": "rule", "stroke": "var(--edge)", "strokeDash": [2, 3]}
    text = {"type": "text", "align": "left", "dx": 5, "y": 19, "color": "var(--soft)"}
    return [
        {"data": {"values": rows}, "mark": rule, "encoding": {"x": {"field": "on"}}},
        {
            "data": {"values": rows},
            "mark": text,
            "encoding": {"x": {"field": "on"}, "text": {"field": "value"}},
        },
    ]


def _word(on: str, word: str) -> Spec:
    return {"on": on, "day": _day(on), "value": word}


def _crossing(on: str | None, every: Sequence[str]) -> list[Spec]:
    """The day on which the band meets the tolerance; its words stand where there is room."""
    if on is None:
        return []
    late = sum(day < on for day in every) * 2 > len(every)
    rows = [{"on": on, "text": f"band meets tolerance\n{_day(on)}"}]
    rule = {"type": "rule", "stroke": "var(--bad)", "strokeDash": [5, 4], "strokeWidth": 1.5}
    text = {
        "type": "text",
        "align": "right" if late else "left",
        "dx": -6 if late else 6,
        "y": "height",
        "dy": -34,
        "lineBreak": "\n",
        "color": "var(--bad)",
        "fontWeight": 600,
    }
    return [
        {"data": {"values": rows}, "mark": rule, "encoding": {"x": {"field": "on"}}},
        {
            "data": {"values": rows},
            "mark": text,
            "encoding": {"x": {"field": "on"}, "text": {"field": "text"}},
        },
    ]


def _time_axis() -> Spec:
    return {
        "field": "on",
        "type": "temporal",
        "title": None,
        "scale": {"type": "utc", "padding": 10},
        "axis": {"grid": False, "tickCount": 6, "labelOverlap": True},
    }


def _tooltip(field: str, title: str) -> list[Spec]:
    return [{"field": "day", "title": "Day"}, {"field": field, "title": title}]


def _if_outside(outside: str, inside: str) -> Spec:
    return {"condition": {"test": "datum.outside", "value": outside}, "value": inside}


def _day(on: str) -> str:
    return day_text(dt.date.fromisoformat(on))
