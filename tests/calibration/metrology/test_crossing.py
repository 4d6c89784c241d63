"""When a limit is passed, against first passage integrated on a dense grid."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from calibration.metrology.crossing import (
    HORIZON,
    crossings,
    ever_beyond,
    probability_ever_out,
)
from calibration.metrology.drift import CannotFit
from calibration.metrology.wander import Outlook

GAP, RATE, RATE_SD, Q = 0.4, 0.12, 0.05, 0.02


def passed(gap: float, rate: np.ndarray | float, q: float, years: float) -> np.ndarray | float:
    """First passage of a walk with a known rate: the inverse Gaussian distribution."""
    sd = np.sqrt(q * years)
    ahead = ndtr((rate * years - gap) / sd)
    return ahead + np.exp(2 * rate * gap / q) * ndtr((-gap - rate * years) / sd)


def averaged(function, mean: float, sd: float) -> float:
    """Expectation of a function of a normal quantity, by the trapezoid rule."""
    at = np.linspace(mean - 8 * sd, mean + 8 * sd, 4001)
    density = np.exp(-(((at - mean) / sd) ** 2) / 2) / (sd * np.sqrt(2 * np.pi))
    return float(np.trapezoid(density * function(at), at))


def one(**other) -> Outlook:
    """An instrument with one value of q, so that every figure of it can be worked by hand."""
    given = {
        "level": 0.1, "level_variance": 0.0016, "rate": RATE, "rate_variance": RATE_SD**2, "q": Q,
        "carry_years": 0.5, "carry_level": 0.02, "carry_variance": 0.0004, "visits": 5, "others": 0,
        **other,
    }  # fmt: skip
    a = {name: np.array([value]) for name, value in given.items()}
    j = {name: value[None] for name, value in a.items()}
    still_known = j["level_variance"] - j["carry_variance"]
    return Outlook(
        weights=np.ones((1, 1)),
        levels=j["level"] - j["carry_level"] + j["rate"] * j["carry_years"],
        level_variances=still_known + j["carry_years"] ** 2 * j["rate_variance"],
        rates=j["rate"], rate_variances=j["rate_variance"],
        ties=j["carry_years"] * j["rate_variance"],
        q=j["q"], changes=np.zeros((1, 1)), visits=a["visits"], others=a["others"],
        own_weight=np.ones(1), log_evidence=np.zeros(1),
    )  # fmt: skip


def still(**other) -> Outlook:
    """An instrument that is known all but exactly."""
    known = {"rate_variance": 0.0, "level_variance": 1e-12, "q": 0.0}
    carried = {"carry_years": 0.0, "carry_level": 0.0, "carry_variance": 0.0}
    return one(**{**known, **carried, **other})


def beyond(gap, *, rate=RATE, variance: float = 0.0, q: float = Q, years: float = 2.0):
    return ever_beyond(*(np.array(value) for value in (gap, rate, variance, q, years)))


def test_a_walk_with_a_known_rate_passes_by_the_inverse_gaussian():
    assert beyond(GAP) == pytest.approx(passed(GAP, RATE, Q, 2.0), rel=1e-9)


def test_a_walk_with_an_uncertain_rate_passes_as_the_average_over_the_rate():
    expected = averaged(lambda rate: passed(GAP, rate, Q, 2.0), RATE, RATE_SD)
    assert beyond(GAP, variance=RATE_SD**2) == pytest.approx(expected, rel=1e-7)


def test_steady_drift_is_beyond_by_a_day_only_if_it_is_beyond_on_it():
    expected = ndtr((RATE - GAP / 2.0) / RATE_SD)
    assert beyond(GAP, variance=RATE_SD**2, q=0.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("gap", [0.0, -0.3])
def test_what_starts_at_or_beyond_the_limit_has_passed_it(gap):
    assert beyond(gap, rate=-5.0) == 1.0


def test_ever_out_averages_over_the_level_and_the_rate_that_goes_with_it():
    """One limit far away, so that nothing is added twice."""
    of, years = one(level=0.3), 0.8
    mean = 0.3 - 0.02 + RATE * 0.5
    variance = 0.0016 - 0.0004 + 0.25 * RATE_SD**2
    tie = 0.5 * RATE_SD**2 / variance
    rest = RATE_SD**2 - tie**2 * variance

    def from_level(level: np.ndarray) -> np.ndarray:
        rate = RATE + tie * (level - mean)
        return beyond(0.7 - level, rate=rate, variance=rest, years=years)

    expected = averaged(from_level, mean, np.sqrt(variance))
    assert probability_ever_out(of, years, 0.7) == pytest.approx([expected], rel=1e-6)


def test_ever_out_is_the_same_for_the_mirror_image():
    mirrored = one(level=-0.3, carry_level=-0.02, rate=-RATE)
    up = probability_ever_out(one(level=0.3), 0.8, 0.7)
    assert probability_ever_out(mirrored, 0.8, 0.7) == pytest.approx(up, rel=1e-12)


def test_ever_out_keeps_the_axes_of_the_years():
    years = np.array([[0.0], [1.0], [2.0]])
    out = probability_ever_out(one(), years, 0.7)
    assert out.shape == (3, 1)
    singly = [probability_ever_out(one(), float(y), 0.7)[0] for y in years[:, 0]]
    assert out[:, 0] == pytest.approx(singly)


@pytest.mark.parametrize("years", [-0.1, np.nan])
def test_years_ahead_are_not_below_zero(years):
    with pytest.raises(CannotFit, match="not below zero"):
        probability_ever_out(one(), years, 0.7)


@pytest.mark.parametrize(
    ("level", "rate", "tolerance", "years"),
    [
        (0.1, 0.1, 0.5, 4.0),
        (0.1, -0.1, 0.5, 6.0),
        (0.5, 0.1, 0.5, 0.0),
        (0.7, -0.1, 0.5, 0.0),
        (0.1, 0.0, 0.5, np.inf),
        (0.0, 0.05, 0.5, HORIZON),
        (0.0, 0.0499, 0.5, np.inf),
        (0.1, 1.1, 0.5, 0.4 / 1.1),
    ],
)
def test_the_line_meets_the_limit_it_moves_towards(level, rate, tolerance, years):
    of = still(level=level, rate=rate)
    assert crossings(of, tolerance, 0.01).line == pytest.approx([years])


def test_the_band_meets_the_limit_where_its_edge_does():
    of, z = one(), ndtri(0.975)
    day = crossings(of, 0.5, 0.03).band[0]
    mean = 0.1 - 0.02 + RATE * (0.5 + day)
    sd = np.sqrt(0.0016 - 0.0004 + Q * day + (0.5 + day) ** 2 * RATE_SD**2 + 0.03**2)
    assert mean + z * sd == pytest.approx(0.5, abs=1e-9)


def test_the_lower_edge_of_the_band_counts_as_the_upper_one_does():
    up = crossings(one(), 0.5, 0.03).band
    down = crossings(one(level=-0.1, carry_level=-0.02, rate=-RATE), 0.5, 0.03).band
    assert down == pytest.approx(up)


@pytest.mark.parametrize(("place", "probability"), [(0, 0.025), (1, 0.5), (2, 0.975)])
def test_the_days_out_are_those_of_the_three_probabilities(place, probability):
    of = one(rate=0.2)
    day = crossings(of, 0.5, 0.03).out[place]
    assert 0 < day[0] < HORIZON
    assert 1 - of.probability_in(day, 0.5) == pytest.approx([probability], abs=1e-9)


def test_what_is_out_today_is_out_on_day_0_and_what_stays_in_never():
    assert crossings(still(level=0.6, rate=0.1), 0.5, 0.01).out.tolist() == [[0.0]] * 3
    assert np.isinf(crossings(still(level=0.1, rate=0.0), 0.5, 0.01).out).all()


@pytest.mark.parametrize(
    ("visits", "others", "dated"), [(2, 4, False), (3, 0, True), (2, 5, True), (1, 0, False)]
)
def test_a_day_needs_three_visits_or_five_others(visits, others, dated):
    met = crossings(one(visits=visits, others=others), 0.5, 0.03)
    assert met.dated.tolist() == [dated]
    assert np.isfinite(met.band).tolist() == [dated]
