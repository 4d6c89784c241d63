import math

import numpy as np
import pytest

from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import (
    design_effect,
    fit_exponential,
    fit_weibull,
    from_visits,
    homogeneity,
    rate_limit,
    results,
    weibull_against_exponential,
)


def drawn(rng, n, *, shape=1.0, scale=10.0, lengths=(1.0, 2.0, 3.0)):
    """n instruments, one visit each."""
    end = rng.choice(lengths, n)
    out = rng.random(n) < -np.expm1(-((end / scale) ** shape))
    return results(np.arange(n), np.zeros(n), end, out)


def test_adjustment_renews_and_a_pass_alone_does_not():
    seen = from_visits([5] * 5, [0, 1, 3, 4, 6], [True, True, True, False, True],
                       [True, False, True, True, False])  # fmt: skip
    assert seen.start.tolist() == [0, 1, 0, 0]
    assert seen.end.tolist() == [1, 3, 1, 2]
    assert seen.out.tolist() == [False, False, True, False]


def test_out_and_not_put_right_is_not_counted_again():
    seen = from_visits(
        [1] * 4, [0, 1, 2, 3], [True, False, False, True], [True, False, True, False]
    )
    assert seen.out.tolist() == [True, False]
    assert seen.end.tolist() == [1, 1]


def test_rate_at_one_length_is_the_share_told_as_a_rate():
    seen = results(np.arange(50), np.zeros(50), np.full(50, 2.0), np.arange(50) < 5)
    fit = fit_exponential(seen)
    assert fit.rate == pytest.approx(-math.log(0.9) / 2, rel=1e-12)
    assert fit.rate_limits.lower < fit.rate < fit.rate_limits.upper


def test_limits_are_where_the_likelihood_has_dropped():
    seen = results(np.arange(50), np.zeros(50), np.full(50, 2.0), np.arange(50) < 5)
    fit = fit_exponential(seen)

    def likelihood(rate):
        return 5 * math.log(-math.expm1(-2 * rate)) - 45 * 2 * rate

    for end in fit.rate_limits:
        drop = fit.log_likelihood - likelihood(end)
        assert drop == pytest.approx(3.841458820694124 / 2 * fit.design_effect, rel=1e-9)


def test_nothing_out_gives_only_a_limit():
    seen = results(np.arange(20), np.zeros(20), np.ones(20), np.zeros(20))
    with pytest.raises(CannotFit, match="only a limit"):
        fit_exponential(seen)
    limit = rate_limit(seen)
    assert limit.estimate is None
    assert limit.upper == pytest.approx(2 * -math.log(0.05) / 20)


def test_too_little_is_refused():
    rng = np.random.default_rng(1)
    with pytest.raises(CannotFit, match="19 results"):
        fit_exponential(drawn(rng, 19, scale=2))
    with pytest.raises(CannotFit, match="needs 60 with 10"):
        fit_weibull(drawn(rng, 59, scale=2))
    with pytest.raises(CannotFit, match="same time"):
        fit_weibull(drawn(rng, 200, scale=2, lengths=(1.0,)))


@pytest.mark.parametrize(
    ("start", "end", "out"),
    [
        ([0.0], [math.nan], [True]),
        ([2.0], [1.0], [True]),
        ([-1.0], [1.0], [False]),
        ([1.0], [1.0], [False]),
    ],
)
def test_impossible_times_are_refused(start, end, out):
    with pytest.raises(CannotFit, match="start, end"):
        results([1], start, end, out)


def test_all_out_has_no_rate():
    with pytest.raises(CannotFit, match="all results are out"):
        fit_exponential(results(np.arange(30), np.zeros(30), np.ones(30), np.ones(30)))


def test_repeated_visits_widen_the_limits():
    who, out = np.repeat(np.arange(20), 6), np.repeat(np.arange(20) < 4, 6)
    alike = results(who, np.zeros(120), np.ones(120), out)
    apart = results(np.arange(120), np.zeros(120), np.ones(120), out)
    assert design_effect(alike) == pytest.approx(6 * 20 / 19)
    assert design_effect(apart) == pytest.approx(120 / 119)
    wide, narrow = fit_exponential(alike).rate_limits, fit_exponential(apart).rate_limits
    assert wide.upper - wide.lower > 2 * (narrow.upper - narrow.lower)


def test_shape_is_found_again_and_told_from_a_constant_rate():
    seen = drawn(np.random.default_rng(3), 1000, shape=3.0, scale=3.0)
    weibull, plain = fit_weibull(seen), fit_exponential(seen)
    assert weibull.shape_limits.lower < 3.0 < weibull.shape_limits.upper
    assert weibull.scale == pytest.approx(3.0, rel=0.1)
    assert weibull_against_exponential(weibull, plain).p_value < 1e-6


def test_upper_limit_of_the_rate_holds():
    rng, truth = np.random.default_rng(4), -math.log(0.95)
    # R(1 year) = 0.95, 120 results, 300 times: Monte Carlo sd 1.3 points.
    held = [
        rate_limit(drawn(rng, 120, scale=1 / truth, lengths=(1.0,))).upper >= truth
        for _ in range(300)
    ]
    assert np.mean(held) >= 0.95 - 3 * 0.013


def test_one_bad_group_is_noticed_and_a_single_family_is_not_split():
    rng = np.random.default_rng(5)
    group = np.arange(160) % 2
    end = np.ones(160)
    bad = rng.random(160) < np.where(group == 1, 0.4, 0.05)
    good = rng.random(160) < 0.15
    split = homogeneity(results(np.arange(160), 0 * end, end, bad), group, rng, permutations=99)
    single = homogeneity(results(np.arange(160), 0 * end, end, good), group, rng, permutations=99)
    assert split.p_value == pytest.approx(0.01)
    assert single.p_value > 0.05
