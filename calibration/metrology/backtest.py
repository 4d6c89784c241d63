"""Backtest of the forecasts: each as found against the forecast from the visits before it.

And a line that no single bad reading can sway, as a cross-check. Visits and instruments as in
wander.py; errors in % of span, time in years.
Sources: one-visit forecasts of a Gaussian sequence follow from the elimination in likelihood.py; a
forecast distribution is right where its value at what came is spread evenly over 0 to 1 (Dawid
1984, from memory). Median of slopes: Theil 1950, Sen 1968 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.metrology.blocks import map_blocks
from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import Histories
from calibration.metrology.likelihood import eliminated, node_weights
from calibration.metrology.wander import Prior
from plant.level.checks import SMALLEST, limits_size

FEWEST_BEFORE = 2  # visits before a forecast is tested


class Backtest(NamedTuple):
    """By increment and instrument (K by N).

    tested: whether there was a forecast to test. quantile: of what came, in its forecast
    distribution, 0 to 1.
    """

    tested: np.ndarray
    quantile: np.ndarray

    def inside(self, confidence: float = 0.95) -> np.ndarray:
        """Where what came lay within the central band of this confidence."""
        return np.asarray(self.tested & (np.abs(self.quantile - 0.5) <= confidence / 2))


def backtest(histories: Histories, prior: Prior) -> Backtest:
    """Forecast every increment from those before it, with the prior.

    The prior is of today, so that it knows a little of what came: in a family of many that is
    next to nothing.
    """
    n = len(histories)

    def one_block(part: slice) -> np.ndarray:
        return _places(histories.columns(part), prior.columns(part, n))

    before = np.cumsum(histories.counted, axis=0) - histories.counted
    tested = histories.counted & (before >= FEWEST_BEFORE - 1)
    return Backtest(tested, np.concatenate(map_blocks(one_block, n), axis=-1))


def _places(histories: Histories, prior: Prior) -> np.ndarray:
    spread, shape = prior.variance, (len(prior.q), len(histories))
    a, b, c, log_det = (np.zeros(shape) for _ in range(4))
    places = np.empty(histories.increments.shape)
    for k, now in enumerate(eliminated(histories, prior.q, prior.change)):
        # What is known of rate and law before increment k.
        one = 1 + spread * a
        off = b - prior.rate * a
        square = c - prior.rate * (b + off) - spread * off * off / one
        weights, _ = node_weights(-0.5 * (log_det + np.log(one) + square), prior.weights)
        rate, rate_variance = (prior.rate + spread * b) / one, spread / one
        sd = np.sqrt(now.variance + now.years * now.years * rate_variance)
        places[k] = (weights * ndtr((now.level - rate * now.years) / sd)).sum(axis=0)
        # And after it, as in likelihood.sums.
        by = 1 / now.variance
        a += now.years * now.years * by
        b += now.years * now.level * by
        c += now.level * now.level * by
        log_det += np.log(now.variance)
    return places


@limits_size("years", "values")
def robust_lines(years: ArrayLike, values: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Median slope of all pairs, and the median level at year 0; one place an instrument.

    years, values: visits by instruments, NaN where there is no visit. The answer is NaN where an
    instrument has fewer than two visits. Raises CannotFit for shapes that differ, or two visits at
    one time.

    >>> robust_lines([0.0, 1.0, 2.0, 3.0], [0.1, 0.3, 9.0, 0.7])[0].round(9).tolist()
    [0.2]
    """
    x, y = (np.asarray(column, dtype=float) for column in (years, values))
    if x.shape != y.shape or x.ndim not in (1, 2):
        raise CannotFit("values", "one value a visit is needed")
    if np.isinf(x).any() or np.isinf(y).any():
        raise CannotFit("years, values", "one of them is infinite")
    x, y = (column.reshape(len(column), -1) for column in (x, y))
    parts = map_blocks(lambda part: _robust(x[:, part], y[:, part]), x.shape[1])
    slope, level = (np.concatenate([part[i] for part in parts]) for i in (0, 1))
    return slope, level


def _robust(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    if (np.abs(run) < SMALLEST).any():
        raise CannotFit("years", "two visits are of one time")
    slope = _medians((y[second] - y[first]) / run)
    return slope, _medians(y - slope * x)


def _medians(columns: np.ndarray) -> np.ndarray:
    """Median down each column; NaN is left out, and is the answer where there is nothing else."""
    ordered = np.sort(columns, axis=0)  # NaN last
    count = (~np.isnan(columns)).sum(axis=0)
    along = np.arange(columns.shape[1])
    low, high = (
        ordered[np.maximum(count - 1, 0) // 2, along],
        ordered[count // 2 % len(ordered), along],
    )
    return np.asarray(np.where(count > 0, (low + high) / 2, np.nan))
