"""Drift and random walk together: DRF-01 to DRF-04.

Worked by a dense calculation that shares nothing with the recursion.
"""

import numpy as np
import pytest
from scipy.special import ndtr

from calibration.metrology.histories import histories
from calibration.metrology.longest_interval import longest
from calibration.metrology.wander import Prior, outlook
from tests.published.reference import near, reference

NAMES = ("DRF-01", "DRF-02", "DRF-03", "DRF-04")


def judged(name):
    given, expected = reference(name)
    column = {
        key: np.array(value, float) for key, value in given.items() if isinstance(value, list)
    }
    history = histories(
        column["day"] / given["days_per_year"],
        column["as_found_pct"],
        column["as_left_pct"],
        given["adjusted"],
        column["u_reading_pct"][:-1],
        column["u_visit_common_pct"][:-1],
    )
    prior = Prior(
        np.array([given["rate_prior_mean_pct_per_year"]]),
        np.array([given["rate_prior_sd_pct_per_year"]]),
        np.zeros(1),
        column["node_sqrt_q_pct_per_sqrt_year"][:, None] ** 2,
        column["node_prior_weights"][:, None],
        np.array([10]),
    )
    return given, expected, history, outlook(history, prior)


@pytest.mark.parametrize("name", NAMES)
def test_increments_evidence_and_weights(name):
    _, expected, history, of = judged(name)
    assert history.increments[:, 0] == near(name, expected["increments_pct"])
    assert of.log_evidence[0] == near(name, expected["log_evidence"])
    assert of.weights[:, 0] == near(name, expected["node_weight"])


@pytest.mark.parametrize("name", NAMES)
def test_rate(name):
    _, expected, _, of = judged(name)
    assert of.rate().centre[0] == near(name, expected["rate_pct_per_year"])
    assert of.rate().sd[0] == near(name, expected["u_rate_pct_per_year"])


@pytest.mark.parametrize("name", NAMES)
def test_bands_and_probabilities(name):
    given, expected, _, of = judged(name)
    ahead, u = given["horizon_days"] / given["days_per_year"], given["u_reading_pct"][-1]
    band, wanted = of.next_as_found(ahead, u), expected["next_as_found"]
    assert band.centre[0] == near(name, wanted["mean_pct"])
    assert band.sd[0] == near(name, wanted["sd_pct"])
    assert band.kurtosis[0] == near(name, wanted["excess_kurtosis"])
    assert band.dof[0] == near(name, wanted["nu"])
    assert band.factor[0] == near(name, wanted["k_95"])
    assert [band.lower[0], band.upper[0]] == near(name, wanted["band_pct"])
    means, variances = of.parts(ahead)
    for share, end in zip((0.025, 0.975), wanted["exact_mixture_band_pct"], strict=True):
        below = ndtr((end - means) / np.sqrt(variances + u**2))
        assert (of.weights * below).sum() == near(name, share)
    true, wanted = of.next_as_found(ahead, 0.0), expected["true_error"]
    assert true.centre[0] == near(name, wanted["mean_pct"])
    assert true.sd[0] == near(name, wanted["sd_pct"])
    assert [true.lower[0], true.upper[0]] == near(name, wanted["band_pct"])
    half = given["tolerance_pct"]
    assert of.probability_in(ahead, half, u)[0] == near(name, expected["P_as_found_in_tolerance"])
    assert of.probability_in(ahead, half)[0] == near(name, expected["P_true_in_tolerance"])


@pytest.mark.parametrize("name", NAMES)
def test_interval_for_the_target(name):
    given, expected, _, of = judged(name)
    lower, upper = given["interval_bounds_years"]
    got = longest(
        of,
        given["tolerance_pct"],
        given["u_reading_pct"][-1],
        target=given["target"],
        lower=lower,
        upper=upper,
    )
    assert got.years[0] == near(name, expected["interval_years_for_target"])
    days = got.years[0] * given["days_per_year"]
    assert days == near(name, expected["interval_days"])
    assert got.reached[0]
    assert not got.capped[0]
