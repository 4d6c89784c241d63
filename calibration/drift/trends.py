"""Drift of the transmitters now at their points: read from the standing records, judged, stored
beside the point.

By calibration.metrology.wander: steady drift and random walk told together, the rate borrowed from
the family where the own history says little. A failure or repair starts anew; a step without a
cause is a fresh level, the rate goes on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, Days, Floats, Ints, Packed, execute
from calibration.drift.histories import ENDS, Told, lent_to, told_of
from calibration.drift.results import (
    DAYS_PER_YEAR,
    PointFacts,
    Points,
    Results,
    date_of,
    points_of,
    results_of,
)
from calibration.metrology.backtest import robust_lines
from calibration.metrology.crossing import Crossings, crossings
from calibration.metrology.drift import OriginLine, through_origin
from calibration.metrology.forecast import Forecast, forecast
from calibration.metrology.intervals import as_found_probability
from calibration.metrology.wander import Band, Outlook, Prior, outlook
from plant.points.models import MeasuringPoint

HORIZON_YEARS = 10
NEEDED = 2


# ---- one point, as its page shows it ----
@dataclass(frozen=True)
class Drift:
    """Drift at one end of the range. ``values`` are summed increments, shifted so that the last is
    the last as left.

    ``found``: as it was read, % of span; None where it was not. ``out``: beyond the tolerance as
    found. ``fresh``: a new level begins there, so that the sum takes nothing over. ``of``: None
    where there is nothing to tell yet.
    """

    end: str
    tolerance: float
    days: list[dt.date]
    records: list[int]
    values: list[float]
    found: list[float | None]
    left: list[float | None]
    adjusted: list[bool]
    out: list[bool]
    fresh: list[bool]
    of: Outlook | None = None
    u_next: float = 0.0
    forecast: Forecast | None = None
    plain: OriginLine | None = None
    robust: float | None = None

    @property
    def results(self) -> int:
        return len(self.days)

    @property
    def rate(self) -> tuple[float, float, float]:
        """Centre and ends of the 95 % interval, % of span a year."""
        told = self._told()
        return float(told.rate[0]), float(told.low[0]), float(told.high[0])

    @property
    def crossing_on(self) -> dt.date | None:
        """The first day on which the 95 % band of the next as found meets the tolerance, within ten
        years.
        """
        if self.forecast is None:
            return None
        years = float(self.forecast.meets[0])
        return None if np.isinf(years) else self.days[-1] + dt.timedelta(int(years * DAYS_PER_YEAR))

    @property
    def dated(self) -> bool:
        return self.forecast is not None and bool(self.forecast.dated[0])

    def ahead(self, days: Iterable[dt.date]) -> Band:
        """Band of the next as found on each of these days; its fields are days by 1."""
        return self.known.next_as_found(self._years(days)[:, None], self.u_next)

    def in_tolerance(self, day: dt.date) -> float:
        """Probability that the next as found, taken that day, is in tolerance."""
        years = self._years([day])[0]
        return float(self.known.probability_in(years, self.tolerance, self.u_next)[0])

    def crossings(self) -> Crossings:
        return crossings(self.known, self.tolerance, self.u_next)

    def _years(self, days: Iterable[dt.date]) -> np.ndarray:
        return np.array([max((day - self.days[-1]).days, 0) / DAYS_PER_YEAR for day in days])

    @property
    def known(self) -> Outlook:
        """Raises ValueError where there is nothing to tell yet."""
        if self.of is None:
            raise ValueError(
                f"{self.results} results; {NEEDED} are needed before a drift can be told"
            )
        return self.of

    def _told(self) -> Forecast:
        if self.forecast is None:
            raise ValueError(
                f"{self.results} results; {NEEDED} are needed before a drift can be told"
            )
        return self.forecast


@dataclass(frozen=True)
class PointTrend:
    tolerance_percent: float
    transmitter_id: int | None
    family_id: int | None
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
    points = points_of([point.pk])
    if not len(points):
        tolerance = point.limits.percent
        empty = (Drift(end, tolerance, [], [], [], [], [], [], [], []) for end in ENDS)
        return PointTrend(tolerance, None, None, *empty)
    results = results_of(points)
    told = told_of(points, results)
    of = outlook(told.histories, lent_to(told, points)) if told else None
    zero, span = (_drift(end, points[0], results, told, of) for end in (0, 1))
    one = points[0]
    return PointTrend(one.tolerance, one.transmitter_id, one.family_id, zero, span)


def _drift(
    end: int, point: PointFacts, results: Results, told: Told | None, of: Outlook | None
) -> Drift:
    rows = _shown(results, end)
    found, left = results.found[end][rows], results.left[end][rows]
    left = np.where(np.isnan(left), found, left)
    fresh = results.fresh[end][rows] | np.isnan(found)
    moved = np.where(fresh[1:], 0.0, found[1:] - left[:-1]) if len(rows) else np.zeros(0)
    values = np.r_[0.0, np.cumsum(moved)] if len(rows) else np.zeros(0)
    if len(rows):
        values += left[-1] - values[-1]
    days = [date_of(day) for day in results.day[rows]]
    column = told.column[end, 0] if told else -1
    drift = Drift(
        ENDS[end],
        point.tolerance,
        days,
        results.record[rows].tolist(),
        values.tolist(),
        _or_none(found),
        _or_none(left),
        results.adjusted[rows].tolist(),
        (np.abs(np.nan_to_num(found)) > point.tolerance).tolist(),
        [*fresh.tolist()],
    )
    if told is None or of is None or column < 0:
        return drift
    one = of.columns(slice(column, column + 1))
    u = float(told.u_next[column])
    return Drift(
        **{name: getattr(drift, name) for name in SHOWN},
        of=one,
        u_next=u,
        forecast=forecast(one, point.tolerance, u),
        plain=_plain(results.day[rows], moved, ~fresh[1:]),
        robust=_robust(results.day[rows], values, fresh),
    )


SHOWN = (
    "end",
    "tolerance",
    "days",
    "records",
    "values",
    "found",
    "left",
    "adjusted",
    "out",
    "fresh",
)


def _shown(results: Results, end: int) -> np.ndarray:
    """The rows that say something of this end; of several on one day the last."""
    known = ~(np.isnan(results.found[end]) & np.isnan(results.left[end]))
    rows = np.flatnonzero(known)
    last = np.r_[results.day[rows][1:] != results.day[rows][:-1], True][: len(rows)]
    return rows[last]


def _or_none(values: np.ndarray) -> list[float | None]:
    return [None if np.isnan(value) else float(value) for value in values]


def _plain(days: np.ndarray, moved: np.ndarray, counted: np.ndarray) -> OriginLine | None:
    """The plain figure beside the method's: one rate through the origin of all increments."""
    years = np.diff(days)[counted] / DAYS_PER_YEAR
    return through_origin(years, moved[counted]) if counted.sum() >= 2 else None


def _robust(days: np.ndarray, values: np.ndarray, fresh: np.ndarray) -> float | None:
    """A line that no single bad reading can sway; where a new level began it would compare what
    cannot be compared.
    """
    if len(days) < 3 or fresh[1:].any():
        return None
    return float(robust_lines(days / DAYS_PER_YEAR, values)[0][0])


# ---- many points, as lists need them ----
@dataclass(frozen=True)
class Judged:
    """Forecasts of all columns, and on each due date the probability of an as found in
    tolerance.
    """

    told: Told
    of: Outlook
    forecast: Forecast
    in_tolerance: np.ndarray


def judge(points: Points, told: Told, prior: Prior) -> Judged:
    of = outlook(told.histories, prior)
    ahead = np.maximum(points.due[told.place] - told.last_day, 0) / DAYS_PER_YEAR
    return Judged(
        told,
        of,
        forecast(of, told.tolerance, told.u_next),
        as_found_probability(of, ahead, told.tolerance, told.u_next),
    )


def refit(point_ids: Iterable[int]) -> int:
    """Judge and store the trends of these points; returns how many. Part of the caller's
    transaction.
    """
    points = points_of(list(point_ids))
    results = results_of(points)
    told = told_of(points, results)
    return store(points, results, judge(points, told, lent_to(told, points)) if told else None)


def store(points: Points, results: Results, judged: Judged | None) -> int:
    """Put the trends of these points in place of the stored ones; returns how many have any
    result.
    """
    visits = np.bincount(np.searchsorted(points.id, results.point), minlength=len(points))
    places = np.flatnonzero(visits)
    if not places.size:
        return 0
    columns = {
        "site_id": points.site[places],
        "point_id": points.id[places],
        "transmitter_id": points.transmitter[places],
        "family_id": np.where(points.family[places] > 0, points.family[places], np.nan),
        "results": visits[places],
        **(_columns(places, judged) if judged else {}),
    }
    nothing = np.full(len(places), np.nan)
    with connection.cursor() as cursor:
        execute(
            cursor, STORE, [kind.of(columns.get(name, nothing)) for name, kind in COLUMNS.items()]
        )
    return len(places)


def _columns(places: np.ndarray, judged: Judged) -> dict[str, np.ndarray]:
    """Rates of both ends; own weight and crossing of the end that leaves the tolerance first; the
    lower probability.
    """
    told, one = judged.told, judged.forecast
    at = told.column[:, places]
    there = at >= 0
    columns = {}
    for end, name in enumerate(ENDS):
        for part in ("rate", "low", "high"):
            values = np.where(there[end], getattr(one, part)[at[end]], np.nan)
            columns[f"{name}_rate" + ("" if part == "rate" else f"_{part}")] = values
    meets = np.where(there, one.meets[at], np.inf)
    likely = np.where(there, judged.in_tolerance[at], np.inf)
    first = np.where(
        (meets[1] < meets[0]) | ((meets[1] == meets[0]) & (likely[1] < likely[0])), 1, 0
    )
    first = np.where(there[0], np.where(there[1], first, 0), 1)
    along = np.arange(len(places))
    column, known = at[first, along], there.any(axis=0)
    met = known & np.isfinite(meets[first, along])
    years = np.where(met, meets[first, along], 0)
    days = told.last_day[column] + (years * DAYS_PER_YEAR).astype(int)
    return columns | {
        "own_weight": np.where(known, one.own_weight[column], np.nan),
        "crossing_on": np.where(met, days, np.nan),
        "crossing_of": np.where(met, first, np.nan),
        "in_tolerance": np.where(known & one.dated[column], likely.min(axis=0), np.nan),
    }


COLUMNS: dict[str, type[Packed]] = {
    "site_id": BigInts,
    "point_id": BigInts,
    "transmitter_id": BigInts,
    "family_id": BigInts,
    "results": Ints,
    "zero_rate": Floats,
    "zero_rate_low": Floats,
    "zero_rate_high": Floats,
    "span_rate": Floats,
    "span_rate_low": Floats,
    "span_rate_high": Floats,
    "own_weight": Floats,
    "crossing_on": Days,
    "crossing_of": Ints,
    "in_tolerance": Floats,
}
VALUES = {"crossing_of": "CASE crossing_of WHEN 0 THEN 'zero' WHEN 1 THEN 'span' ELSE '' END"}
STORE = f"""
    INSERT INTO calibration_trend ({", ".join(COLUMNS)}, fitted_at)
    SELECT {", ".join(VALUES.get(name, name) for name in COLUMNS)}, transaction_timestamp()
    FROM unnest({", ".join("%s" for _ in COLUMNS)}) AS t ({", ".join(COLUMNS)})
    ON CONFLICT (point_id) DO UPDATE SET
    {", ".join(f"{name} = excluded.{name}" for name in COLUMNS if name not in ("site_id", "point_id"))},
    fitted_at = excluded.fitted_at
"""  # noqa: S608 - names of columns, written above
