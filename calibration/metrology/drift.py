"""Drift told from the records: what accumulates between adjustments, and a straight line through it.

Ordinary least squares, with the band of one future reading. x is time in any one unit, y is % of span; the line tells
the drift of a steadily drifting transmitter, and says nothing of steps to come.
Sources: INT-09 for the history with adjustments; the formulas of the line are in any textbook on regression.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

# A float for one line, an array with one place a line for a fleet. Any, as in plant.level.arrays.
Floats = Any


class CannotFit(ValueError):
    """A history from which no drift can be told. Attributes: argument, reason."""

    def __init__(self, argument: str, reason: str) -> None:
        self.argument, self.reason = argument, reason
        super().__init__(f"{argument}: {reason}")


# ---- the history ----
def drift_increments(as_found: ArrayLike, as_left: ArrayLike) -> np.ndarray:
    """What drifted between visits: each as found less the as left of the visit before, % of span.

    Two sequences, one place a visit, in order of time; the first as found may be None. Where nothing was adjusted,
    give the as found again as the as left. An adjustment takes nothing away: it lies between the readings of one visit.
    Raises CannotFit where a value is missing or the lengths differ.
    """
    found, left = np.asarray(as_found, dtype=float), np.asarray(as_left, dtype=float)
    if found.ndim != 1 or found.shape != left.shape or found.size == 0:
        raise CannotFit(
            "as_found, as_left", "they need one value a visit each, of at least one visit"
        )
    for name, missing in (("as_found", ~np.isfinite(found[1:])), ("as_left", ~np.isfinite(left))):
        if missing.any():
            raise CannotFit(
                name,
                f"visit {int(missing.argmax()) + (2 if name == 'as_found' else 1)} has no value",
            )
    return found[1:] - left[:-1]


def accumulated_drift(as_found: ArrayLike, as_left: ArrayLike) -> np.ndarray:
    """Running sum of drift_increments, 0 at the first visit: where the transmitter would be had nobody adjusted it.

    >>> accumulated_drift([None, 0.30, 0.35], [0.00, 0.05, 0.35]).round(9).tolist()
    [0.0, 0.3, 0.6]
    """
    return np.concatenate([[0.0], np.cumsum(drift_increments(as_found, as_left))])


# ---- the line ----
class Prediction(NamedTuple):
    """The line at x, and how far on either side one future reading may lie."""

    centre: Floats
    half_width: Floats


@dataclass(frozen=True)
class LineFit:
    """A line y = mean_y + slope (x − mean_x), or one line a place where the fields are arrays.

    n: readings. dof: degrees of freedom of residual_sd. sxx: sum of (x − mean_x)².
    level_share: the part of residual_sd² with which the height of the line at mean_x is known: 1/n, or 0 for a line
    held at the origin.
    """

    n: Floats
    dof: Floats
    mean_x: Floats
    mean_y: Floats
    slope: Floats
    sxx: Floats
    residual_sd: Floats
    level_share: Floats

    @property
    def intercept(self) -> Floats:
        return self.mean_y - self.slope * self.mean_x

    @property
    def se_slope(self) -> Floats:
        return self.residual_sd / self.sxx**0.5

    @property
    def se_intercept(self) -> Floats:
        return self.residual_sd * (self.level_share + self.mean_x**2 / self.sxx) ** 0.5

    @property
    def covariance(self) -> Floats:
        """Of slope and intercept."""
        return -self.mean_x * self.se_slope**2

    def coverage_factor(self, confidence: float = 0.95) -> Floats:
        """Two-sided quantile of the t distribution for this line's degrees of freedom."""
        if not 0 < confidence < 1:
            raise ValueError(f"confidence: {confidence} is not between 0 and 1")
        return stdtrit(self.dof, 0.5 + confidence / 2)

    def line_at(self, x: Floats) -> Floats:
        return self.mean_y + self.slope * (x - self.mean_x)

    def u_line_at(self, x: Floats) -> Floats:
        """Standard uncertainty of the line itself at x."""
        return self.residual_sd * (self.level_share + (x - self.mean_x) ** 2 / self.sxx) ** 0.5

    def u_reading_at(self, x: Floats) -> Floats:
        """Standard uncertainty of one future reading at x: the line's and the reading's own scatter."""
        return self.residual_sd * (1 + self.level_share + (x - self.mean_x) ** 2 / self.sxx) ** 0.5

    def predict(self, x: ArrayLike, confidence: float = 0.95) -> Prediction:
        """Line and half-width of the band in which one future reading lies with this confidence; shape of x."""
        at = np.asarray(x, dtype=float)
        if not np.isfinite(at).all():
            raise CannotFit("x", "not a number")
        return Prediction(
            self.line_at(at)[()], (self.coverage_factor(confidence) * self.u_reading_at(at))[()]
        )

    def slope_interval(self, confidence: float = 0.95) -> tuple[Floats, Floats]:
        """Lower and upper end of the confidence interval of the slope."""
        half = self.coverage_factor(confidence) * self.se_slope
        return self.slope - half, self.slope + half


def fit_line(x: ArrayLike, y: ArrayLike) -> LineFit:
    """Ordinary least squares through at least three readings.

    Raises CannotFit where fewer are given (two leave no scatter, so no band could be drawn), where all are of one x, or
    where a value is not a number.

    >>> fit_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.3, 0.5, 0.7]).slope
    0.2
    """
    x, y = _columns(x, y)
    if x.size < 3:
        raise CannotFit(
            "x", f"{x.size} readings; a line with its scatter needs 3: {3 - x.size} more"
        )
    if np.ptp(x) == 0:
        raise CannotFit("x", "all readings are of one time; a drift needs different days")
    # Centred first: days since a far epoch squared would swallow the digits.
    mean_x, mean_y = float(x.mean()), float(y.mean())
    dx, dy = x - mean_x, y - mean_y
    sxx = float(dx @ dx)
    slope = float(dx @ dy) / sxx
    rest = dy - slope * dx
    dof = x.size - 2
    sd = math.sqrt(float(rest @ rest) / dof)
    return LineFit(x.size, dof, mean_x, mean_y, slope, sxx, sd, 1 / x.size)


def through_origin(x: ArrayLike, y: ArrayLike) -> LineFit:
    """The line y = slope x: a plain cross-check on increments y over times x, each counted from its own start.

    Raises CannotFit for fewer than two increments, all x zero, or a value that is not a number.
    """
    x, y = _columns(x, y)
    if x.size < 2:
        raise CannotFit("x", f"{x.size} increments; a rate with its scatter needs 2")
    sxx = float(x @ x)
    if sxx == 0:
        raise CannotFit("x", "no time passes in any increment")
    slope = float(x @ y) / sxx
    rest = y - slope * x
    dof = x.size - 1
    sd = math.sqrt(float(rest @ rest) / dof)
    return LineFit(x.size, dof, 0.0, 0.0, slope, sxx, sd, 0.0)


def _columns(x: ArrayLike, y: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    columns = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if columns[0].ndim != 1 or columns[0].shape != columns[1].shape:
        raise CannotFit("x, y", "they need one value a reading each")
    for name, column in zip("xy", columns, strict=True):
        if not np.isfinite(column).all():
            raise CannotFit(
                name, f"reading {int((~np.isfinite(column)).argmax()) + 1} is not a number"
            )
    return columns


# ---- a fleet ----
@dataclass(frozen=True)
class FleetLines:
    """Lines of many instruments. groups: whose line stands at each place of ``lines``.

    refused: groups without a line, since they have fewer than three readings or all at one time.
    """

    groups: np.ndarray
    lines: LineFit
    refused: np.ndarray


def fit_lines(group: ArrayLike, x: ArrayLike, y: ArrayLike) -> FleetLines:
    """fit_line for every group at once; three sequences, one place a reading, in any order.

    Raises CannotFit where a value is not a number.
    """
    x, y = _columns(x, y)
    ids, place, n = np.unique(np.asarray(group), return_inverse=True, return_counts=True)
    if place.shape != x.shape:
        raise CannotFit("group", "it needs one value a reading")

    def sums(values: np.ndarray) -> np.ndarray:
        return np.bincount(place, weights=values, minlength=len(ids))

    # Two passes, the second on centred values, for the same digits as a single fit.
    mean_x, mean_y = sums(x) / n, sums(y) / n
    dx, dy = x - mean_x[place], y - mean_y[place]
    low, high = np.full(len(ids), np.inf), np.full(len(ids), -np.inf)
    np.minimum.at(low, place, x)
    np.maximum.at(high, place, x)
    fits = (n >= 3) & (high > low)
    sxx = np.where(fits, sums(dx * dx), 1.0)
    slope = sums(dx * dy) / sxx
    dof = np.where(fits, n - 2, 1)
    sd = np.sqrt(sums((dy - slope[place] * dx) ** 2) / dof)
    columns = (n, dof, mean_x, mean_y, slope, sxx, sd, 1 / n)
    return FleetLines(ids[fits], LineFit(*(column[fits] for column in columns)), ids[~fits])


# ---- the day on which the tolerance is met ----
@dataclass(frozen=True)
class Crossing:
    """Where line and band first meet the tolerance at or after the last visit; None: not within the horizon.

    already_out, band_already_out: they lay beyond it at the last visit, and the place given is that visit.
    """

    line: float | None
    band: float | None
    already_out: bool
    band_already_out: bool


def crossing(
    fit: LineFit,
    tolerance: float,
    *,
    after: float,
    horizon: float,
    offset: float = 0.0,
    confidence: float = 0.95,
) -> Crossing:
    """Where line and band of a single fit meet ± tolerance, in the unit of x.

    after: the last visit; horizon: how far beyond it to look. offset: added to the line, such as the last as left less
    the accumulated drift at that visit. Raises CannotFit for a tolerance or horizon not above zero.

    >>> fit = fit_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.3, 0.5, 0.7])
    >>> round(crossing(fit, 1.1, after=3.0, horizon=10.0).line, 9)
    5.0
    """
    for name, value in (("tolerance", tolerance), ("horizon", horizon)):
        if not (math.isfinite(value) and value > 0):
            raise CannotFit(name, f"{value} is not above zero")
    if not (math.isfinite(after) and math.isfinite(offset)):
        raise CannotFit("after, offset", "not a number")
    factor = float(fit.coverage_factor(confidence))
    line, line_out = _first_meeting(fit, tolerance, 0.0, after, horizon, offset)
    band, band_out = _first_meeting(fit, tolerance, factor, after, horizon, offset)
    return Crossing(line, band, line_out, band_out)


def _first_meeting(
    fit: LineFit, tolerance: float, factor: float, after: float, horizon: float, offset: float
) -> tuple[float | None, bool]:
    """Where the line, widened by ``factor``, first meets a limit; and whether it is beyond at once."""
    if abs(fit.line_at(after) + offset) + factor * fit.u_reading_at(after) > tolerance:
        return after, True
    places = [
        fit.mean_x + along
        for side in (1, -1)
        for along in _meetings(
            fit, tolerance - side * (fit.mean_y + offset), side * fit.slope, factor
        )
        # A limit may be met on both sides of the last visit: only what comes counts.
        if after <= fit.mean_x + along <= after + horizon
    ]
    return (min(places) if places else None), False


def _meetings(fit: LineFit, gap: float, slope: float, factor: float) -> list[float]:
    """Distances d from mean_x where gap − slope d equals the half-width of the band.

    Squared this is a quadratic, solved without taking like from like. It also has the places where the band's far edge
    meets the same limit, which its near edge has always met before.
    """
    level = (factor * fit.residual_sd) ** 2 * (1 + fit.level_share)
    tilt = (factor * fit.se_slope) ** 2
    a, half_b, c = slope**2 - tilt, -gap * slope, gap**2 - level
    inside = slope**2 * level + tilt * c
    if inside < 0:
        return []
    q = -(half_b + math.copysign(math.sqrt(inside), half_b))
    return ([q / a] if a else []) + ([c / q] if q else [])
