"""The fast band of a fleet is the band of wander.py, and its crossing that of crossing.py."""

import numpy as np
import pytest

from calibration.metrology.crossing import crossings
from calibration.metrology.drift import CannotFit
from calibration.metrology.forecast import forecast
from calibration.metrology.histories import histories
from calibration.metrology.wander import default_prior, outlook

TOLERANCE, U = 0.5, 0.05


@pytest.fixture(scope="module")
def of():
    rng = np.random.default_rng(11)
    n, visits = 300, 5
    years = np.cumsum(rng.uniform(0.4, 1.6, (visits, n)), axis=0)
    rate = rng.normal(0.1, 0.1, n)
    found = rate * years + rng.normal(0, 0.06, (visits, n))
    adjusted = np.abs(found) > 0.4
    left = np.where(adjusted, rng.normal(0, 0.05, found.shape), found)
    history = histories(years, found, left, adjusted, U)
    return outlook(history, default_prior(np.full(n, TOLERANCE)))


@pytest.mark.parametrize("years", [0.0, 0.3, 1.0, 2.5, 9.0])
def test_the_band_by_moments_is_the_band_of_the_mixture(of, years):
    centre, half = of.moments.read_with(U).band(years)
    band = of.next_as_found(years, U)
    assert np.allclose(centre, band.centre, atol=1e-12)
    assert np.allclose(centre + half, band.upper, atol=2e-6)
    assert np.allclose(centre - half, band.lower, atol=2e-6)


@pytest.mark.parametrize("some", [slice(3, 7), np.array([5, 2, 9])])
def test_moments_that_are_known_go_with_their_instruments(of, some):
    whole, part = of.moments, of.columns(some).moments
    for all_of_them, of_some in zip(whole, part, strict=True):
        assert (of_some == all_of_them[:, some]).all()


def test_it_meets_the_tolerance_on_the_same_day(of):
    fast = forecast(of, TOLERANCE, U)
    slow = crossings(of, TOLERANCE, U)
    both = np.isfinite(fast.meets) & np.isfinite(slow.band)
    assert (np.isfinite(fast.meets) == np.isfinite(slow.band)).mean() > 0.995
    assert both.sum() > 250
    # Twelve halvings of at most two years: two hours; a month's grid may miss what lies within it.
    assert np.quantile(np.abs(fast.meets - slow.band)[both], 0.99) < 1 / 365


def test_rates_are_those_of_wander(of):
    band, history = of.rate(), forecast(of, TOLERANCE, U)
    assert np.array_equal(history.low, band.lower)
    assert np.array_equal(history.high, band.upper)
    assert np.array_equal(history.own_weight, of.own_weight)


def test_two_visits_and_no_family_name_no_day():
    history = histories([0.0, 1.0], [0.0, 0.3], [0.0, 0.3], [False, False], U)
    one = forecast(outlook(history, default_prior(TOLERANCE)), TOLERANCE, U)
    assert not one.dated[0]
    assert np.isinf(one.meets[0])


@pytest.mark.parametrize(("tolerance", "u"), [(0.0, U), (TOLERANCE, -1.0), (TOLERANCE, np.nan)])
def test_what_makes_no_sense_is_refused(of, tolerance, u):
    with pytest.raises(CannotFit):
        forecast(of, tolerance, u)
