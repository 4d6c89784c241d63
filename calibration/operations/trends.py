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
from django.db import connection

from calibration.metrology.drift import Crossing, LineFit, accumulated_drift, crossing, fit_line
from plant.models import MeasuringPoint

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
    """Drift at one end of the range. ``values`` are shifted so that the last one is the last as left.

    ``out``: whether the as found itself lay beyond the tolerance; a shifted value says nothing of that.
    """

    end: str  # zero or span
    days: list[dt.date]
    values: list[float]
    adjusted: list[bool]
    out: list[bool]
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
    """The drift of the transmitter now at ``point`` (one query)."""
    tolerance = point.limits.percent
    rows = _results([point.pk])
    return _of_rows(rows, tolerance) if rows else _trend([], [], tolerance, None)


def refit(point_ids: Iterable[int]) -> int:
    """Fit and store the trends of these points; returns how many are stored. Part of the caller's transaction."""
    ids = list(point_ids)
    by_point: dict[int, list[tuple]] = defaultdict(list)
    for row in _results(ids):
        by_point[row[0]].append(row)
    points = MeasuringPoint.objects.filter(pk__in=list(by_point))
    stored = [_row(point, _of_rows(by_point[point.pk], point.limits.percent)) for point in points]
    _store(stored)
    return len(stored)


RESULTS = """
    SELECT r.point_id, r.transmitter_id, r.id, r.done_on, r.adjusted, r.shows_failure,
        r.found_at_zero, r.left_at_zero, r.found_at_span, r.left_at_span
    FROM calibration_calibration r
    JOIN plant_installation i ON i.point_id = r.point_id AND i.transmitter_id = r.transmitter_id
        AND i.removed_on IS NULL
    WHERE r.point_id = ANY(%s) AND r.state = 'approved' AND NOT EXISTS (
        SELECT 1 FROM calibration_calibration a WHERE a.amends_id = r.id AND a.state = 'approved')
    ORDER BY r.point_id, r.done_on, r.id
"""


def _results(point_ids: list[int]) -> list[tuple]:
    """Standing results of the transmitters now at these points, oldest first."""
    with connection.cursor() as cursor:
        cursor.execute(RESULTS, [point_ids])
        return cursor.fetchall()


STORE = """
    INSERT INTO calibration_trend (site_id, point_id, transmitter_id, results,
        zero_rate, zero_rate_low, zero_rate_high,
        span_rate, span_rate_low, span_rate_high, crossing_on, crossing_of)
    SELECT * FROM unnest(%s::bigint[], %s::bigint[], %s::bigint[], %s::int[],
        %s::float8[], %s::float8[], %s::float8[], %s::float8[], %s::float8[], %s::float8[], %s::date[], %s::text[])
    ON CONFLICT (point_id) DO UPDATE SET transmitter_id = excluded.transmitter_id,
        results = excluded.results, zero_rate = excluded.zero_rate,
        zero_rate_low = excluded.zero_rate_low, zero_rate_high = excluded.zero_rate_high,
        span_rate = excluded.span_rate, span_rate_low = excluded.span_rate_low,
        span_rate_high = excluded.span_rate_high, crossing_on = excluded.crossing_on,
        crossing_of = excluded.crossing_of
"""


def _store(rows: list[tuple]) -> None:
    """Put these trends in place of the stored ones; a row is as STORE lists its columns."""
    if rows:
        with connection.cursor() as cursor:
            cursor.execute(STORE, [list(column) for column in zip(*rows, strict=True)])


def _of_rows(rows: list[tuple], tolerance: float) -> PointTrend:
    zero, span = [], []
    for _, _, pk, day, adjusted, failed, found_0, left_0, found_1, left_1 in rows:
        zero.append(Visit(pk, day, found_0, left_0, adjusted, failed))
        span.append(Visit(pk, day, found_1, left_1, adjusted, failed))
    return _trend(zero, span, tolerance, rows[0][1])


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
        return Drift(end, [], [], [], [], None, None, None)
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
    adjusted = [v.adjusted for v in visits]
    out = (np.abs(found) > tolerance).tolist()
    return Drift(end, days, values.tolist(), adjusted, out, fit, meets, met_on)


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


def _row(point: MeasuringPoint, trend: PointTrend) -> tuple:
    """The trend's row, as STORE lists its columns."""
    met_on, met_of = trend.first_crossing or (None, "")
    return (
        point.site_id, point.pk, trend.transmitter_id, trend.results,
        *_rate(trend.zero), *_rate(trend.span), met_on, met_of,
    )  # fmt: skip


def _rate(drift: Drift) -> tuple[float | None, ...]:
    if drift.fit is None:
        return None, None, None
    low, high = drift.fit.slope_interval()
    return drift.fit.slope, float(low), float(high)


def _years(first: dt.date, day: dt.date) -> float:
    return (day - first).days / DAYS_PER_YEAR


def _day(first: dt.date, years: float | None) -> dt.date | None:
    return None if years is None else first + dt.timedelta(days=int(years * DAYS_PER_YEAR))
