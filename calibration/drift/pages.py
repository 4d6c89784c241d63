"""The drift of a point on a page: its picture, its figures in words, the table beneath."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from calibration.drift.chances import basis_text
from calibration.drift.charts import chart_of
from calibration.drift.reads import Drift, PointTrend, trend_of
from calibration.drift.sentences import figures_of, sentence, stage_figure
from calibration.drift.stages import stages_of
from calibration.records.failures import failed_records
from plant.points.models import MeasuringPoint


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


def drift_context(point: MeasuringPoint, *, end: str, today: dt.date) -> dict[str, Any]:
    """What a page shows of a point's trend, at zero or span; ``end`` "": the one that needs a look
    first.
    """
    trend, due = trend_of(point), point.next_due
    end = end if end in ("zero", "span") else _end_to_look_at(trend)
    drift = trend.span if end == "span" else trend.zero
    context = {
        "trend": trend,
        "drift": drift,
        "drift_ends": ("zero", "span"),
        "drift_chart": None,
        "drift_rows": _rows(drift),
        "drift_sentence": sentence(drift, today),
        "drift_facts": [],
        "chance_basis": basis_text(trend),
        "tolerance_percent": trend.tolerance_percent,
        "failed_records": failed_records(point),
    }
    if drift.outlook is not None:
        stages = stages_of(point.pk, drift.end, tolerance=drift.tolerance)
        context["drift_chart"] = chart_of(drift, today=today, due=due)
        context["drift_facts"] = [*figures_of(drift, due=due), *map(stage_figure, stages)]
    return context


def _end_to_look_at(trend: PointTrend) -> str:
    """The end that meets the tolerance first, else the one that drifts faster."""
    if trend.first_crossing:
        return trend.first_crossing[1]
    rates = {d.end: abs(d.rate[0]) if d.outlook else -1.0 for d in (trend.zero, trend.span)}
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
