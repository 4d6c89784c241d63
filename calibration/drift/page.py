"""The drift of a transmitter for a page: a picture, its figures in words, a table."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.charts import drift_chart
from calibration.drift.results import DAYS_PER_YEAR
from calibration.drift.stages import Stage, stages_of
from calibration.drift.trends import HORIZON_YEARS, NEEDED, Drift, PointTrend, trend_of
from calibration.metrology.crossing import probability_ever_out
from plant.points.models import MeasuringPoint
from plant.quantities import day_text, percent

POINTS_OF_LINE = 60
FRESH = "fresh level"


@dataclass(frozen=True)
class Row:
    """One result in the table beneath the chart."""

    day: dt.date
    record: int
    found: float | None
    left: float | None
    value: float
    adjusted: bool
    out: bool
    fresh: bool


def drift_of(point: MeasuringPoint, *, asked: str, today: dt.date) -> dict[str, Any]:
    """What a page shows of a point's trend: the end asked for (zero or span), else the one that
    needs a look first.
    """
    trend, due = trend_of(point), point.next_due
    met = trend.first_crossing
    end = asked if asked in ("zero", "span") else met[1] if met else _steeper(trend)
    drift = trend.span if end == "span" else trend.zero
    told = drift.of is not None
    apart = stages_of(point.pk, drift.end, tolerance=drift.tolerance) if told else []
    return {
        "trend": trend,
        "drift": drift,
        "drift_ends": ("zero", "span"),
        "drift_chart": chart_of(drift, today=today, due=due) if told else None,
        "drift_rows": _rows(drift),
        "drift_sentence": sentence(drift, today),
        "drift_facts": [*facts_of(drift, due=due), *map(_stage, apart)] if told else [],
        "tolerance_percent": trend.tolerance_percent,
    }


def _steeper(trend: PointTrend) -> str:
    rates = {d.end: abs(d.rate[0]) if d.of else -1.0 for d in (trend.zero, trend.span)}
    return "span" if rates["span"] > rates["zero"] else "zero"


def _rows(drift: Drift) -> list[Row]:
    columns = (
        drift.days,
        drift.records,
        drift.found,
        drift.left,
        drift.values,
        drift.adjusted,
        drift.out,
        drift.fresh,
    )
    return [Row(*row) for row in zip(*columns, strict=True)][::-1]


# ---- in words ----
def sentence(drift: Drift, today: dt.date) -> str:
    """Rate, its 95 % interval and the day on which the band meets the tolerance, in words."""
    if drift.of is None:
        count = drift.results
        have = f"{count} result{'' if count == 1 else 's'} so far"
        return (
            f"{NEEDED} results are needed before a trend can be drawn; there "
            f"{'is' if count == 1 else 'are'} {have}."
        )
    rate, low, high = (percent(value, drift.tolerance) for value in drift.rate)
    return (
        f"{rate} % of span a year (95 %: {low} to {high}), from {drift.results} results. "
        f"{_meets(drift, today)}"
    )


def _meets(drift: Drift, today: dt.date) -> str:
    if not drift.dated:
        return "One more result is needed before a day can be named."
    on = drift.crossing_on
    if on is None:
        return f"The 95 % band does not meet the tolerance within {HORIZON_YEARS} years."
    if on <= drift.days[-1]:
        return "The 95 % band reached beyond the tolerance already at the last result."
    return f"The 95 % band {'met' if on < today else 'meets'} the tolerance on {day_text(on)}."


def facts_of(drift: Drift, *, due: dt.date) -> list[tuple[str, str]]:
    """The other figures, each under its name; none of them is a date that the results cannot
    carry.
    """
    facts = []
    if drift.dated:
        facts = [
            ("When due", _on(drift, due)),
            ("Crossing day", _crossing_days(drift)),
            ("Out before it is due", _ever(drift, due)),
        ]
    facts += [("Whose rate", _whose(drift)), ("Steady or wandering", _walk(drift))]
    if drift.plain is not None:
        low, high = (percent(float(end), drift.tolerance) for end in drift.plain.slope_interval())
        rate = percent(float(drift.plain.slope), drift.tolerance)
        facts.append(
            (
                "Plain cross-check",
                f"{rate} % a year ({low} to {high}), by one line through all increments",
            )
        )
    if drift.robust is not None:
        rate = percent(drift.robust, drift.tolerance)
        facts.append(
            (
                "Robust cross-check",
                f"{rate} % a year, by the median of the slopes between all pairs of results",
            )
        )
    return facts


def _stage(stage: Stage) -> tuple[str, str]:
    name = stage.name.capitalize()
    if not stage.observed:
        return name, "not observed: no reading of that kind can be compared with an earlier one"
    rate, low, high = (percent(value, 0.5) for value in (stage.rate, stage.low, stage.high))
    return name, f"{rate} % of span a year (95 %: {low} to {high})"


def _whose(drift: Drift) -> str:
    others = int(drift.known.others[0])
    if not others:
        return (
            "judged alone: no family of six or more lends it anything, so its band is wide at first"
        )
    own = round(100 * float(drift.known.own_weight[0]))
    mostly = "mostly borrowed: " if own < 50 else ""
    return f"{mostly}{own} % its own history, {100 - own} % lent by {others} others of its family"


def _walk(drift: Drift) -> str:
    weights, q = (
        drift.known.weights[:, 0],
        np.broadcast_to(drift.known.q, drift.known.weights.shape)[:, 0],
    )
    steady = round(100 * float(weights[0]))
    walk = percent(float(np.sqrt((weights * q).sum())), drift.tolerance).lstrip("+")
    return (
        f"{steady} % likely to be purely steady; beside its drift it wanders by about {walk} % "
        "in a year"
    )


def _on(drift: Drift, due: dt.date) -> str:
    day = max(due, drift.days[-1])
    band = drift.ahead([day])
    low, high = (percent(float(end[0, 0]), drift.tolerance) for end in (band.lower, band.upper))
    likely = _share(drift.in_tolerance(day))
    return (
        f"{likely} to be found in tolerance on {day_text(day)}; 95 % band {low} to {high} % of span"
    )


def _crossing_days(drift: Drift) -> str:
    """2.5, 50 and 97.5 % of being out; any of them may never come."""
    days = [_day(drift, float(day[0])) for day in drift.crossings().out]
    line = _day(drift, float(drift.crossings().line[0]))
    early, middle, late = days
    return (
        f"the expected drift meets the tolerance {line}; even odds of being out {middle}, 1 in 40 "
        f"{early}, "
        f"39 in 40 {late}"
    )


def _day(drift: Drift, years: float) -> str:
    if np.isinf(years):
        return f"not within {HORIZON_YEARS} years"
    return f"on {day_text(drift.days[-1] + dt.timedelta(int(years * DAYS_PER_YEAR)))}"


def _ever(drift: Drift, due: dt.date) -> str:
    years = max((due - drift.days[-1]).days, 0) / DAYS_PER_YEAR
    probability = float(probability_ever_out(drift.known, years, drift.tolerance)[0])
    return f"{_share(probability)} to have been out at some time by then"


def _share(probability: float) -> str:
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


# ---- in a picture ----
def chart_of(drift: Drift, *, today: dt.date, due: dt.date) -> dict[str, Any]:
    """Results so far; from the last one on the expected drift and the 95 % band of the next as
    found.
    """
    days = _days_ahead(drift, today, due)
    band = drift.ahead(days)
    on = drift.crossing_on
    marked = on is not None and drift.days[-1] < on <= days[-1]
    return drift_chart(
        found_on=[day.isoformat() for day in drift.days],
        found=drift.values,
        line_on=[day.isoformat() for day in days],
        line=band.centre[:, 0].tolist(),
        band_low=band.lower[:, 0].tolist(),
        band_high=band.upper[:, 0].tolist(),
        tolerance=drift.tolerance,
        crossing_on=on.isoformat() if on and marked else None,
        was_out=drift.out,
        adjusted_on=_marked(drift, drift.adjusted),
        steps=[(day, FRESH) for day in _marked(drift, drift.fresh)[1:]]
        if drift.fresh and drift.fresh[0]
        else [(day, FRESH) for day in _marked(drift, drift.fresh)],
    )


def _marked(drift: Drift, which: list[bool]) -> list[str]:
    return [day.isoformat() for day, was in zip(drift.days, which, strict=True) if was]


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
