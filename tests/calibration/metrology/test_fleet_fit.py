"""Families fitted, flagged and checked as the nightly pass does."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.metrology.fleet_fit import SAMPLE, fit_fleet, widening
from calibration.metrology.wander import outlook
from tests.bench.truths import TOLERANCE, TRUTHS, simulate


def a_fleet(n=60, visits=8, jump=None):
    rng = np.random.default_rng(5)
    return simulate(TRUTHS["linear"], n, visits, rng, jump=jump).first(visits)


def test_forecasts_that_held_as_promised_or_that_are_few_widen_nothing_or_little():
    assert widening(95, 100) == 1
    assert widening(100, 100) == 1
    assert widening(0, 0) == 1
    assert widening(3, 4) == pytest.approx(1.0747, abs=1e-4)


def test_forecasts_that_held_less_often_are_widened_until_they_would_have_held():
    # Of so many the 40 counted beside them hardly matter: 1.96 / 1.2816.
    assert widening(80_000, 100_000) == pytest.approx(1.5293, abs=1e-3)


def test_all_that_is_forecast_is_widened_but_no_centre_moves():
    history = a_fleet()
    prior = fit_fleet(history, np.zeros(60, dtype=int), TOLERANCE).prior
    plain = outlook(history, replace(prior, widening=1.0)).next_as_found(1.0, 0.0)
    wide = outlook(history, replace(prior, widening=1.5)).next_as_found(1.0, 0.0)
    assert wide.centre == pytest.approx(plain.centre)
    assert ((wide.sd / plain.sd > 1.3) & (wide.sd / plain.sd <= 1.5 + 1e-9)).all()


def test_an_increment_that_counts_stays_and_a_flagged_one_is_set_aside():
    jump = np.zeros((8, 60))
    jump[4, 7] = 1.5
    history, family = a_fleet(jump=jump), np.zeros(60, dtype=int)
    fit = fit_fleet(history, family, TOLERANCE)
    assert fit.flags[3, 7]
    assert not fit.histories.counted[3, 7]
    counts = np.zeros_like(history.counted)
    counts[3, 7] = True
    said = fit_fleet(history, family, TOLERANCE, counted=counts)
    assert not said.flags[:, 7].any()
    assert said.histories.counted[:, 7].all()


def test_a_jump_widens_what_its_family_is_forecast_by_not_what_is_flagged():
    jump = np.zeros((8, 60))
    jump[4, :6] = 1.5
    fit = fit_fleet(a_fleet(jump=jump), np.zeros(60, dtype=int), TOLERANCE)
    walk = [(p.weights * p.q).sum(axis=0)[0] for p in (fit.prior, fit.jumps.prior)]
    assert walk[0] > 2 * walk[1]


def test_a_large_family_is_fitted_to_some_members_evenly_taken():
    n = 3 * SAMPLE
    fit = fit_fleet(a_fleet(n, 3), np.zeros(n, dtype=int), TOLERANCE)
    assert fit.fitted.tolist() == list(range(0, n, 3))
    assert (fit.prior.others == n - 1).all()


def test_one_alone_is_judged_by_the_default_and_never_widened():
    fit = fit_fleet(a_fleet(3), np.arange(3), TOLERANCE)
    assert fit.prior.others.tolist() == [0, 0, 0]
    assert fit.prior.widening.tolist() == [1, 1, 1]
