"""The drift of the transmitter now at a point, as its page shows it.

By calibration.metrology.wander: steady drift and random walk estimated together, the rate taken
from the family where the instrument's own history says little. A failure or repair starts anew; a
jump without a cause begins a new level, and the rate goes on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calibration.drift.histories import ENDS, EndHistories, families_of, histories_of
from calibration.drift.results import (
    DAY_0,
    DAYS_PER_YEAR,
    PointRow,
    Results,
    date_of,
    points_of,
    results_of,
)
from calibration.drift.verdicts import Verdicts, tests_of, verdicts_of
from calibration.drift.visits import Visit
from calibration.metrology.backtest import robust_lines
from calibration.metrology.bands import Band
from calibration.metrology.crossing import Crossings, crossings
from calibration.metrology.drift import OriginLine, through_origin
from calibration.metrology.forecast import Forecast, forecast, is_dated
from calibration.metrology.wander import Outlook, outlook
from plant.level.tolerance import Limits
from plant.points.models import MeasuringPoint

NEEDED = 2


class TooFewResults(ValueError):
    """A figure of the drift was asked for before there were results enough for one."""

    def __init__(self, results: int) -> None:
        super().__init__(f"{results} results; {NEEDED} are needed before there is a drift")
        self.results = results


@dataclass(frozen=True)
class Drift:
    """Drift at one end of the range. visits: those that the trend rests on, in order of time; their
    values are summed increments, shifted so that the last is the last as left.

    limits: of an error, % of span. outlook: of errors less the centre of the limits; None with too
    few results. u_next: standard uncertainty of the coming reading, % of span.
    """

    end: str
    limits: Limits
    visits: Sequence[Visit] = ()
    outlook: Outlook | None = None
    u_next: float = 0.0
    forecast: Forecast | None = None
    plain: OriginLine | None = None
    robust: float | None = None

    @cached_property
    def days(self) -> list[dt.date]:
        return [visit.day for visit in self.visits]

    @property
    def results(self) -> int:
        return len(self.visits)

    @property
    def tolerance(self) -> float:
        """Half the width of the tolerance, or its one limit, % of span: what figures of drift stand
        beside.
        """
        return self.limits.size

    @property
    def rate(self) -> tuple[float, float, float]:
        """Centre and ends of the 95 % interval, % of span a year. Raises TooFewResults."""
        if self.forecast is None:
            raise TooFewResults(self.results)
        fit = self.forecast
        return float(fit.rate[0]), float(fit.low[0]), float(fit.high[0])

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
        band = self.known_outlook.next_as_found(self._years(days)[:, None], self.u_next)
        centre = self.limits.centre
        return band._replace(
            centre=band.centre + centre, lower=band.lower + centre, upper=band.upper + centre
        )

    def in_tolerance(self, day: dt.date) -> float:
        """Probability that the next as found, taken that day, is in tolerance."""
        years = self._years([day])[0]
        return float(self.known_outlook.probability_in(years, self.limits.half, self.u_next)[0])

    def crossings(self) -> Crossings:
        return crossings(self.known_outlook, self.limits.half, self.u_next)

    def _years(self, days: Iterable[dt.date]) -> np.ndarray:
        return np.array([max((day - self.days[-1]).days, 0) / DAYS_PER_YEAR for day in days])

    @property
    def known_outlook(self) -> Outlook:
        """Raises TooFewResults where there is none."""
        if self.outlook is None:
            raise TooFewResults(self.results)
        return self.outlook


@dataclass(frozen=True)
class PointTrend:
    """floor: the least chance of passing that the policy allows; 0 where nothing is installed."""

    tolerance_percent: float
    transmitter_id: int | None
    family_id: int | None
    zero: Drift
    span: Drift
    verdicts: Verdicts | None = None
    floor: float = 0.0

    def chance(self, day: dt.date) -> float | None:
        """Of passing, found on that day; None where not both ends give dates."""
        if self.verdicts is None:
            return None
        return float(self.verdicts.chance(np.array([(day - DAY_0).days]))[0])

    def days_below(self, chances: Sequence[float]) -> list[dt.date | None]:
        """The first day on which the chance of passing is below each of these; None where it is not
        within ten years, or not known.
        """
        if self.verdicts is None:
            return [None] * len(chances)
        same = self.verdicts.some(np.zeros(len(chances), dtype=int))
        days = same.first_days_below(np.array(chances))
        return [None if np.isnan(day) else date_of(int(day)) for day in days]

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
        limits = point.error_limits
        zero, span = (Drift(end, limits) for end in ENDS)
        return PointTrend(limits.size, None, None, zero, span)
    results = results_of(points)
    histories = histories_of(points, results)
    row, fit, verdicts = points[0], None, None
    if histories is not None:
        prior, families = families_of(histories, points)
        fit = outlook(histories.core, prior)
        dated = is_dated(fit)
        own = tests_of(points, results)
        verdicts = verdicts_of(points, histories, fit, dated, own, families)
    zero = _drift(0, row, results, histories, fit)
    span = _drift(1, row, results, histories, fit)
    floor = float(points.floor[0])
    return PointTrend(
        row.limits.size, row.transmitter_id, row.family_id, zero, span, verdicts, floor
    )


def _drift(
    end: int,
    point: PointRow,
    results: Results,
    histories: EndHistories | None,
    fit: Outlook | None,
) -> Drift:
    rows = _shown(results, end)
    if not rows.size:
        return Drift(ENDS[end], point.limits)
    centre = point.limits.centre
    found = results.found[end][rows]
    left = np.where(np.isnan(results.left[end][rows]), found, results.left[end][rows])
    fresh = results.fresh[end][rows] | np.isnan(found)
    moved = np.where(fresh[1:], 0.0, found[1:] - left[:-1])
    values = np.r_[0.0, np.cumsum(moved)]
    values += left[-1] - values[-1]
    read = _or_none(found + centre)
    columns = (
        [date_of(day) for day in results.day[rows]],
        results.record[rows].tolist(),
        (values + centre).tolist(),
        read,
        _or_none(left + centre),
        results.adjusted[rows].tolist(),
        [error is not None and not point.limits.holds(error) for error in read],
        results.found_out[rows].tolist(),
        fresh.tolist(),
    )
    visits = [Visit(*row) for row in zip(*columns, strict=True)]
    drift = Drift(ENDS[end], point.limits, visits)
    column = histories.column[end, 0] if histories else -1
    if histories is None or fit is None or column < 0:
        return drift
    own = fit.columns(slice(column, column + 1))
    u = float(histories.u_next[column])
    return replace(
        drift,
        outlook=own,
        u_next=u,
        forecast=forecast(own, point.limits.half, u),
        plain=_plain(results.day[rows], moved, ~fresh[1:]),
        robust=_robust(results.day[rows], values, fresh),
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
