"""Backtest held against what came, and the robust line."""

from __future__ import annotations

import itertools
import statistics

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.metrology.backtest import backtest, robust_lines
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import fit_families
from calibration.metrology.histories import histories
from calibration.metrology.wander import default_prior
from tests.bench.truths import TOLERANCE, TRUTHS, U, simulate
from tests.calibration.metrology.dense import covariance


@pytest.mark.parametrize(("changing", "closely"), [(0.0, 1e-9), (0.5, 1e-6)])
def test_a_forecast_is_that_of_the_whole_normal_distribution_of_the_increments(changing, closely):
    """Against dense algebra.

    The last increment given the others, under each law, weighed by the evidence for it.
    """
    made = simulate(TRUTHS["half and half"], 5, 6, np.random.default_rng(2))
    history = histories(made.years, made.found, made.left, made.adjusted, U)
    prior = default_prior(TOLERANCE, changing)
    got = backtest(history, prior)
    assert got.tested[:, 0].tolist() == [False, True, True, True, True]
    off = history.increments - prior.rate * history.years
    for place in range(5):
        whole = [covariance(history, prior, place, law) for law in range(len(prior.q))]
        for k in range(1, 5):
            log_weights, chances = [], []
            for v, before in zip(whole, prior.weights[:, 0], strict=True):
                past, known_off = v[:k, :k], off[:k, place]
                known = np.linalg.solve(past, np.c_[known_off, v[:k, k]])
                mean, variance = v[k, :k] @ known[:, 0], v[k, k] - v[k, :k] @ known[:, 1]
                evidence = -0.5 * (np.linalg.slogdet(past)[1] + known_off @ known[:, 0])
                log_weights.append(evidence + np.log(np.maximum(before, 1e-300)))
                chances.append(ndtr((off[k, place] - mean) / np.sqrt(variance)))
            weights = np.exp(np.array(log_weights) - max(log_weights))
            assert got.quantile[k, place] == pytest.approx(
                weights @ chances / weights.sum(), rel=closely
            )


@pytest.mark.parametrize("truth", ["linear", "walk", "half and half"])
def test_forecasts_hold_as_often_as_they_say(truth):
    n = 4000  # about 32,000 forecasts, of one instrument not independent: ± 0.3 points
    made = simulate(TRUTHS[truth], n, 10, np.random.default_rng(4))
    history = histories(made.years, made.found, made.left, made.adjusted, U)
    family = np.zeros(n, dtype=int)
    got = backtest(history, fit_families(history, family, TOLERANCE).of(family))
    assert got.tested.sum() == 8 * n
    assert 100 * got.inside().sum() / got.tested.sum() == pytest.approx(95, abs=1.5)
    tenths = np.bincount((got.quantile[got.tested] * 10).astype(int).clip(0, 9), minlength=10)
    assert tenths / tenths.sum() == pytest.approx([0.1] * 10, abs=0.015)


def median_slope(x: np.ndarray, y: np.ndarray) -> float:
    """Theil and Sen's: the middle one of the slopes between all pairs."""
    pairs = itertools.combinations(range(len(x)), 2)
    return statistics.median((y[b] - y[a]) / (x[b] - x[a]) for a, b in pairs)


def test_robust_lines_have_the_median_slope_and_leave_short_histories_open():
    rng = np.random.default_rng(8)
    x = np.cumsum(rng.uniform(0.5, 2, (9, 30)), axis=0)
    y = 0.2 * x + rng.normal(0, 0.1, x.shape)
    x[:4, ::3] = y[:4, ::3] = np.nan
    y[5] += 4  # a bad reading in each
    slope, level = robust_lines(x, y)
    for n in range(30):
        here = ~np.isnan(x[:, n])
        known = median_slope(x[here, n], y[here, n])
        assert slope[n] == pytest.approx(known, rel=1e-12)
        assert level[n] == pytest.approx(np.median(y[here, n] - known * x[here, n]), rel=1e-9)
    assert np.isnan(robust_lines([np.nan, 1.0], [np.nan, 0.3])[0]).all()
    with pytest.raises(CannotFit, match="years: two visits are of one time"):
        robust_lines([1.0, 1.0], [0.1, 0.2])
    with pytest.raises(CannotFit, match="values: one value a visit"):
        robust_lines([1.0, 2.0], [0.1])
