import numpy as np
import pytest

from calibration.metrology.causes import Cause, diagnose
from calibration.metrology.fleet_fit import fit_fleet
from calibration.metrology.histories import histories
from calibration.metrology.jumps import fit_without_jumps
from calibration.metrology.residuals import residuals
from calibration.metrology.wander import default_prior
from tests.bench.coverage import jump_shares
from tests.bench.truths import TOLERANCE, TRUTHS, U, simulate
from tests.calibration.metrology.dense import covariance


@pytest.mark.parametrize("kind", ["linear", "walk"])
def test_jumps_are_flagged_where_they_are_and_clean_histories_are_not(kind):
    # About 300 jumps: Monte Carlo sd 1.5 points; false flags 0.4.
    got = jump_shares(TRUTHS[kind], 3000, 6, 2000, seed=11)
    assert got.right >= 90 - 3
    assert got.false <= 5 + 0.8


def test_flagged_increment_is_set_aside_and_the_rate_goes_on():
    jump = np.zeros((8, 40))
    jump[4, 7] = 1.5
    history = simulate(TRUTHS["linear"], 40, 8, np.random.default_rng(5), jump=jump).first(8)
    got = jumps_of(history, np.zeros(40, dtype=int))
    assert got.flags[:, 7].tolist() == [False, False, False, True, False, False, False]
    assert got.size[3, 7] == pytest.approx(1.5, abs=0.3)
    assert not got.histories.counted[3, 7]
    assert history.counted[3, 7]


@pytest.mark.parametrize(("instruments", "visits"), [(40, 4), (4, 8)])
def test_too_few_visits_or_no_family_gives_only_a_hint(instruments, visits):
    jump = np.zeros((visits, instruments))
    jump[2, 0] = 4.0
    rng = np.random.default_rng(5)
    history = simulate(TRUTHS["linear"], instruments, visits, rng, jump=jump).first(visits)
    got = jumps_of(history, np.zeros(instruments, dtype=int))
    assert got.hints[:, 0].any()
    assert not got.flags.any()


def jumps_of(history, family):
    return fit_fleet(history, family, TOLERANCE).jumps


def plain(found, adjusted):
    return histories(np.arange(len(found)), found, np.zeros(len(found)), adjusted, 0.05)


def test_bad_reading_comes_back_and_a_jump_stays():
    never = [False] * 7
    back = plain([0.0, 0.02, 0.01, 0.6, 0.0, 0.02, 0.01], never)
    stays = plain([0.0, 0.02, 0.01, 0.6, 0.62, 0.6, 0.61], never)
    bad = diagnose(back, default_prior(0.5), 0, 2)
    assert (bad.cause, bad.visit) == (Cause.BAD_READING, 3)
    assert diagnose(back, default_prior(0.5), 0, 3)[:2] == (Cause.BAD_READING, 3)
    jump = diagnose(stays, default_prior(0.5), 0, 2)
    assert (jump.cause, jump.visit) == (Cause.JUMP, 3)


def test_a_bad_reading_is_recognized_in_a_history_shorter_than_those_beside_it():
    """Eleven of seven visits and one of five, whose middle reading is wrong and comes back."""
    years = np.repeat(np.arange(7.0)[:, None], 12, axis=1)
    found = np.random.default_rng(4).normal(0, 0.05, (7, 12))
    years[:2, 0] = np.nan
    found[4, 0] += 1.0
    got = jumps_of(histories(years, found, found, False, U), np.zeros(12, dtype=int))
    assert np.argwhere(got.flags & got.returns).tolist() == [[3, 0]]
    assert got.histories.counted[:, 0].tolist() == [False, False, True, False, False, True]


def test_jump_and_bad_reading_look_alike_at_the_last_or_an_adjusted_visit():
    last = diagnose(plain([0.0, 0.02, 0.01, 0.0, 0.6], [False] * 5), default_prior(0.5), 0, 3)
    assert last.cause == Cause.EITHER
    assert "last visit" in last.why
    was = [False, False, False, True, False, False]
    adjusted = diagnose(plain([0.0, 0.02, 0.01, 0.6, 0.0, 0.01], was), default_prior(0.5), 0, 2)
    assert adjusted.cause == Cause.EITHER
    assert "adjusted" in adjusted.why


@pytest.mark.parametrize("kind", ["linear", "walk"])
def test_a_bad_reading_that_comes_back_is_distinguished_from_a_jump(kind):
    rng, n, visits, truth = np.random.default_rng(3), 1500, 6, TRUTHS[kind]
    has, at = rng.random(n) < 0.1, rng.integers(1, visits - 1, n)
    made = simulate(truth, n, visits, rng)
    bad = np.flatnonzero(has & ~made.adjusted[at, np.arange(n)])
    found = made.found.copy()
    found[at[bad], bad] += 5 * np.sqrt(2 * 0.05**2 + truth.walk**2)
    left = np.where(made.adjusted, made.left, found)
    history = histories(made.years, found, left, made.adjusted, 0.05)
    got = jumps_of(history, np.zeros(n, dtype=int))
    flagged = got.flags.argmax(axis=0)
    right = [
        diagnose(history, got.prior, c, int(flagged[c])) == (Cause.BAD_READING, at[c], "")
        for c in bad
        if got.flags[:, c].any()
    ]
    assert len(right) >= 0.97 * len(bad)
    assert np.mean(right) >= 0.93
    assert got.flags[:, ~has].any(axis=0).mean() <= 0.058


def test_residuals_agree_with_dense_algebra():
    """Against NumPy's own inverse of the whole covariance."""
    made = simulate(TRUTHS["half and half"], 12, 10, np.random.default_rng(3))
    history = histories(made.years, made.found, made.left, made.adjusted, U)
    aside = np.zeros_like(history.counted)
    aside[4, ::3] = True  # gaps, as flagged jumps leave them
    history, family = history.without(aside), np.zeros(12, dtype=int)
    prior = fit_without_jumps(history, family, TOLERANCE).calm.of(family)
    got = residuals(history, prior)
    for place in range(12):
        off = (history.increments - prior.rate * history.years)[:, place]
        for j in range(len(prior.q)):
            v = covariance(history, prior, place, j)
            inverse = np.linalg.inv(v)
            evidence = -0.5 * (np.linalg.slogdet(v)[1] + off @ inverse @ off)
            closely = 1e-6 if prior.change[j, place] else 1e-9
            close = {"rtol": closely, "atol": closely * np.abs(inverse).max()}
            np.testing.assert_allclose(got.pull[:, j, place], inverse @ off, **close)
            np.testing.assert_allclose(got.own[:, j, place], np.diag(inverse), **close)
            np.testing.assert_allclose(got.between[:, j, place], np.diag(inverse, 1), **close)
            assert got.evidence[j, place] == pytest.approx(evidence, rel=closely)
