"""Drift of the transmitter now at a point: read from its standing records, fitted, stored beside the point.

A result without as found, or one that shows a failure, says nothing of drift: its as left begins a new segment, and
the trend is that of the last segment. Adjustments take nothing away (calibration.metrology.drift).
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calibration.metrology.drift import Crossing, LineFit, accumulated_drift, crossing, fit_line
from calibration.models import Calibration, Trend
from plant.models import Installation, MeasuringPoint

DAYS_PER_YEAR = 365.25
HORIZON_YEARS = 10.0
NEEDED = 3  # a line through two points has no scatter to judge it by


@dataclass(frozen=True)
class Visit:
    """One result as the trend needs it: errors at one end of the range, % of span."""

    record_id: int
    day: dt.date
    found: float | None
    left: float | None
    adjusted: bool
    shows_failure: bool


@dataclass(frozen=True)
class Drift:
    """Drift at one end of the range. ``values`` are shifted so that the last one is the last as left."""

    end: str  # zero or span
    days: list[dt.date]
    values: list[float]
    adjusted: list[bool]
    fit: LineFit | None
    crossing: Crossing | None
    crossing_on: dt.date | None

    @property
    def results(self) -> int:
        return len(self.days)

    def at(self, days: Iterable[dt.date]) -> tuple[np.ndarray, np.ndarray]:
        """Line and half-width of the 95 % band for one future reading on these days.

        Raises ValueError where there is no line yet.
        """
        if self.fit is None:
            raise ValueError(
                f"{self.results} results; {NEEDED} are needed before a line can be drawn"
            )
        years = np.array([_years(self.days[0], day) for day in days])
        return self.fit.predict(years)


@dataclass(frozen=True)
class PointTrend:
    tolerance_percent: float
    transmitter_id: int | None
    zero: Drift
    span: Drift

    @property
    def results(self) -> int:
        return max(self.zero.results, self.span.results)

    @property
    def first_crossing(self) -> tuple[dt.date, str] | None:
        """The earliest day on which a band meets the tolerance, and of which end."""
        met = [(d.crossing_on, d.end) for d in (self.zero, self.span) if d.crossing_on]
        return min(met) if met else None


def trend_of(point: MeasuringPoint) -> PointTrend:
    """The drift of the transmitter now at ``point`` (two queries)."""
    installation = Installation.objects.filter(point=point, removed_on=None).first()
    if installation is None:
        return _trend([], [], point.limits.percent, None)
    rows = _results([point.pk])
    return _of_rows(rows, point.limits.percent, installation.transmitter_id)


def refit(point_ids: Iterable[int]) -> int:
    """Fit and store the trends of these points; returns how many are stored. Part of the caller's transaction."""
    ids = list(point_ids)
    present = dict(
        Installation.objects.filter(point_id__in=ids, removed_on=None).values_list(
            "point_id", "transmitter_id"
        )
    )
    rows = defaultdict(list)
    for row in _results(ids):
        rows[row[0]].append(row)
    points = MeasuringPoint.objects.filter(pk__in=[pk for pk in present if pk in rows])
    trends = [
        _stored(point, _of_rows(rows[point.pk], point.limits.percent, present[point.pk]))
        for point in points
    ]
    Trend.objects.bulk_create(
        trends,
        update_conflicts=True,
        unique_fields=["point"],
        update_fields=[
            "transmitter", "results", "zero_rate", "zero_rate_se", "span_rate", "span_rate_se",
            "crossing_on", "crossing_of",
        ],
    )  # fmt: skip
    return len(trends)


def _results(point_ids: list[int]) -> Iterable[tuple]:
    return (
        Calibration.objects.standing()
        .filter(point_id__in=point_ids)
        .order_by("done_on", "pk")
        .values_list(
            "point_id", "transmitter_id", "pk", "done_on", "adjusted", "shows_failure",
            "found_at_zero", "left_at_zero", "found_at_span", "left_at_span",
        )
    )  # fmt: skip


def _of_rows(rows: Iterable[tuple], tolerance: float, transmitter_id: int) -> PointTrend:
    zero, span = [], []
    for _, device, pk, day, adjusted, failed, found_0, left_0, found_1, left_1 in rows:
        if device != transmitter_id:
            continue
        zero.append(Visit(pk, day, found_0, left_0, adjusted, failed))
        span.append(Visit(pk, day, found_1, left_1, adjusted, failed))
    return _trend(zero, span, tolerance, transmitter_id)


def _trend(
    zero: list[Visit], span: list[Visit], tolerance: float, transmitter_id: int | None
) -> PointTrend:
    return PointTrend(
        tolerance, transmitter_id, _drift("zero", zero, tolerance), _drift("span", span, tolerance)
    )


def _drift(end: str, visits: list[Visit], tolerance: float) -> Drift:
    visits = _last_segment(visits)
    days = [v.day for v in visits]
    if not visits:
        return Drift(end, [], [], [], None, None, None)
    found = np.array([v.left if v.found is None else v.found for v in visits], dtype=float)
    left = np.array([v.left for v in visits], dtype=float)
    values = accumulated_drift(found, left)
    values = values + (left[-1] - values[-1])
    fit = meets = met_on = None
    if len(visits) >= NEEDED:
        years = np.array([_years(days[0], day) for day in days])
        fit = fit_line(years, values)
        meets = crossing(fit, tolerance, after=float(years[-1]), horizon=HORIZON_YEARS)
        met_on = _day(days[0], meets.band)
    return Drift(end, days, values.tolist(), [v.adjusted for v in visits], fit, meets, met_on)


def _last_segment(visits: list[Visit]) -> list[Visit]:
    """From the last result that begins a segment; of several results on one day the last stands for the day."""
    segment: list[Visit] = []
    for visit in visits:
        if visit.left is None:
            continue
        if visit.found is None or visit.shows_failure:
            segment = []
        elif segment and segment[-1].day == visit.day:
            segment.pop()
        segment.append(visit)
    return segment


def _stored(point: MeasuringPoint, trend: PointTrend) -> Trend:
    zero, span, first = trend.zero.fit, trend.span.fit, trend.first_crossing
    return Trend(
        site_id=point.site_id,
        point=point,
        transmitter_id=trend.transmitter_id,
        results=trend.results,
        zero_rate=zero and zero.slope,
        zero_rate_se=zero and zero.se_slope,
        span_rate=span and span.slope,
        span_rate_se=span and span.se_slope,
        crossing_on=first and first[0],
        crossing_of=first[1] if first else "",
    )


def _years(first: dt.date, day: dt.date) -> float:
    return (day - first).days / DAYS_PER_YEAR


def _day(first: dt.date, years: float | None) -> dt.date | None:
    return None if years is None else first + dt.timedelta(days=int(years * DAYS_PER_YEAR))
