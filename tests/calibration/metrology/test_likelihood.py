"""One pass along the visits gives what dense algebra gives, under every law of drift."""

import numpy as np
import pytest

from calibration.metrology.histories import histories
from calibration.metrology.likelihood import sums
from calibration.metrology.wander import default_prior, outlook
from tests.bench.truths import TOLERANCE, TRUTHS, U, simulate
from tests.calibration.metrology.dense import covariance

MADE = simulate(TRUTHS["half and half"], 4, 7, np.random.default_rng(2))
PRIOR = default_prior(TOLERANCE, 0.3)
LAWS = range(len(PRIOR.q))


def history(visits):
    columns = (MADE.years, MADE.found, MADE.left, MADE.adjusted)
    return histories(*(column[:visits] for column in columns), U)


def test_evidence_is_that_of_the_whole_normal_distribution():
    of = history(7)
    got = sums(of, PRIOR.q, PRIOR.change).log_evidence(PRIOR.rate, PRIOR.variance)
    off = of.increments - PRIOR.rate * of.years
    for place in range(4):
        for law in LAWS:
            v = covariance(of, PRIOR, place, law)
            square = off[:, place] @ np.linalg.solve(v, off[:, place])
            evidence = -0.5 * (np.linalg.slogdet(v)[1] + square)
            assert got[law, place] == pytest.approx(evidence, rel=1e-6)


def test_the_next_as_found_is_forecast_as_the_last_increment_given_the_others():
    before, whole = history(6), history(7)
    ahead = MADE.years[6] - MADE.years[5]
    means, variances = outlook(before, PRIOR).parts(ahead)
    off = whole.increments - PRIOR.rate * whole.years
    for place in range(4):
        for law in LAWS:
            v = covariance(whole, PRIOR, place, law)
            known = np.linalg.solve(v[:-1, :-1], np.c_[off[:-1, place], v[:-1, -1]])
            mean = v[-1, :-1] @ known[:, 0] + PRIOR.rate[0] * whole.years[-1, place]
            variance = v[-1, -1] - v[-1, :-1] @ known[:, 1]
            assert means[law, place] - before.level[place] == pytest.approx(mean, rel=1e-6)
            assert variances[law, place] + U**2 == pytest.approx(variance, rel=1e-6)


def test_a_rate_known_from_the_history_is_its_own_and_else_the_family_s():
    own = outlook(history(7), PRIOR).own_weight
    assert ((own > 0.5) & (own < 1)).all()
    vague = histories(*(c[:3] for c in (MADE.years, MADE.found, MADE.left, MADE.adjusted)), 50.0)
    assert outlook(vague, PRIOR).own_weight == pytest.approx(np.zeros(4), abs=0.01)
