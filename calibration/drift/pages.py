"""The drift of a point on a page: its picture, its figures in words, the tables beneath."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.drift.chances import basis_text, chance_rows
from calibration.drift.charts import AS_IT_STOOD, TAKEN_OUT, VIEWS, chart_of
from calibration.drift.histories import ENDS
from calibration.drift.reads import Drift, PointTrend, trend_of
from calibration.drift.sentences import (
    caution_of,
    figures_of,
    limit_words,
    sentence,
    stage_figure,
    summary,
)
from calibration.drift.stages import stages_of
from calibration.drift.visits import Visit, as_they_stood
from calibration.records.failures import failed_records
from plant.points.models import MeasuringPoint


@dataclass(frozen=True)
class Choice:
    """One of the views of a picture. url: "" for the one that is shown."""

    text: str
    url: str


@dataclass(frozen=True)
class ForecastRow:
    """What the next as found is expected to be on a day, % of span."""

    day: dt.date
    what: str
    expected: float
    low: float
    high: float


def drift_context(
    point: MeasuringPoint, asked: Mapping[str, str], *, today: dt.date, end: str = ""
) -> dict[str, Any]:
    """What a page shows of a point's trend.

    asked: the page's address; ``of`` is zero or span, ``view`` one of VIEWS. end: shown where the
    address names none; "": the one that needs a look first.
    """
    trend, due = trend_of(point), point.next_due
    end = next((one for one in (asked.get("of"), end) if one in ENDS), "") or _end_first(trend)
    view = TAKEN_OUT if asked.get("view") == TAKEN_OUT else AS_IT_STOOD
    drift = trend.span if end == "span" else trend.zero
    return {
        "trend": trend,
        "drift": drift,
        "drift_heading": _heading(end, view),
        "drift_choices": _choices(end, view),
        "drift_sentence": sentence(drift, today),
        "chance_rows": chance_rows(trend, today=today, due=due),
        "chance_basis": basis_text(trend),
        "tolerance_percent": trend.tolerance_percent,
        **_limit(trend, today),
        **_results(point, trend, drift, view, today),
    }


def _results(
    point: MeasuringPoint, trend: PointTrend, drift: Drift, view: str, today: dt.date
) -> dict[str, Any]:
    """Results, and where there is a trend its picture with what stands beneath it."""
    visits, failed = _visits(point, trend, drift), failed_records(point)
    shown = {"drift_visits": visits[::-1], "failed_records": failed}
    if drift.outlook is None:
        return shown
    days = [record.day for record in failed]
    due = point.next_due
    return shown | {
        "drift_chart": chart_of(drift, visits, view=view, today=today, due=due, failed_on=days),
        "drift_summary": summary(drift, visits, today, taken_out=view == TAKEN_OUT),
        **_forecast(point, drift, today),
    }


def _visits(point: MeasuringPoint, trend: PointTrend, drift: Drift) -> list[Visit]:
    if trend.transmitter_id is None:
        return []
    return as_they_stood(
        point.pk,
        trend.transmitter_id,
        drift.end,
        counted=drift.visits,
        limits=drift.limits,
    )


def _forecast(point: MeasuringPoint, drift: Drift, today: dt.date) -> dict[str, Any]:
    """What stands beneath the picture."""
    due = point.next_due
    stages = stages_of(point.pk, drift.end, tolerance=drift.tolerance)
    return {
        "drift_caution": caution_of(drift),
        "drift_facts": [*figures_of(drift, due=due), *map(stage_figure, stages)],
        "drift_forecast": _forecast_rows(drift, today, due),
    }


def _limit(trend: PointTrend, today: dt.date) -> dict[str, Any]:
    """The first day on which a band meets the tolerance, at which end, and its last result."""
    on, end = trend.first_crossing or (None, "")
    drift = trend.span if end == "span" else trend.zero
    tested_on = drift.days[-1] if drift.days else None
    return {"limit_on": on, "limit_of": end, "tested_on": tested_on, "today": today}


def _heading(end: str, view: str) -> str:
    what = "Drift" if view == TAKEN_OUT else "Error"
    return f"{what} at {end}, {VIEWS[view]}"


def _choices(end: str, view: str) -> list[list[Choice]]:
    """Views of this end, and this view of both ends."""
    views = [Choice(text, "" if one == view else _url(end, one)) for one, text in VIEWS.items()]
    ends = [Choice(one, "" if one == end else _url(one, view)) for one in ENDS]
    return [views, ends]


def _url(end: str, view: str) -> str:
    return f"?of={end}&view={view}#drift-plot"


def _end_first(trend: PointTrend) -> str:
    """The end that meets the tolerance first, else the one that drifts faster."""
    if trend.first_crossing:
        return trend.first_crossing[1]
    rates = {d.end: abs(d.rate[0]) if d.outlook else -1.0 for d in (trend.zero, trend.span)}
    return "span" if rates["span"] > rates["zero"] else "zero"


def _forecast_rows(drift: Drift, today: dt.date, due: dt.date) -> list[ForecastRow]:
    """Of the days that the picture names."""
    named = {today: "today", due: "today, and due" if due == today else "due"}
    on = drift.crossing_on
    if on is not None:
        named.setdefault(on, limit_words(on, today))
    days = sorted(day for day in named if day >= drift.days[-1])
    band = drift.ahead(days)
    columns = (band.centre[:, 0], band.lower[:, 0], band.upper[:, 0])
    return [
        ForecastRow(day, named[day], *map(float, row))
        for day, *row in zip(days, *columns, strict=True)
    ]
