import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import (
    ReliabilityFit,
    fit_exponential,
    fit_weibull,
    rate_limit,
)
from calibration.metrology.shares import binomial_limits
from calibration.metrology.visit_results import Results, design_effect
from tests.bench.reliability import Law, held, results_of_visits


def drawn(rng, n, *, shape=1.0, scale=10.0, lengths=(1.0, 2.0, 3.0)):
    """n instruments, one visit each."""
    end = rng.choice(lengths, n)
    out = rng.random(n) < -np.expm1(-((end / scale) ** shape))
    return Results.of(np.arange(n), np.zeros(n), end, out)


def test_adjustment_renews_and_a_pass_alone_does_not():
    seen = results_of_visits(
        [5] * 5, [0, 1, 3, 4, 6], [True, True, True, False, True], [True, False, True, True, False]
    )
    assert seen.start.tolist() == [0, 1, 0, 0]
    assert seen.end.tolist() == [1, 3, 1, 2]
    assert seen.out.tolist() == [False, False, True, False]


def test_out_and_not_put_right_is_not_counted_again():
    seen = results_of_visits(
        [1] * 4, [0, 1, 2, 3], [True, False, False, True], [True, False, True, False]
    )
    assert seen.out.tolist() == [True, False]
    assert seen.end.tolist() == [1, 1]


def test_rate_at_one_interval_length_follows_from_the_share_out():
    seen = Results.of(np.arange(50), np.zeros(50), np.full(50, 2.0), np.arange(50) < 5)
    fit = fit_exponential(seen)
    assert fit.rate == pytest.approx(-math.log(0.9) / 2, rel=1e-12)
    assert fit.rate_limits.lower < fit.rate < fit.rate_limits.upper


def test_limits_are_where_the_likelihood_has_dropped():
    seen = Results.of(np.arange(50), np.zeros(50), np.full(50, 2.0), np.arange(50) < 5)
    fit = fit_exponential(seen)

    def likelihood(rate):
        return 5 * math.log(-math.expm1(-2 * rate)) - 45 * 2 * rate

    for end in fit.rate_limits:
        drop = fit.log_likelihood - likelihood(end)
        assert drop == pytest.approx(3.841458820694124 / 2 * fit.design_effect, rel=1e-9)


def test_nothing_out_gives_only_a_limit():
    seen = Results.of(np.arange(20), np.zeros(20), np.ones(20), np.zeros(20))
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


def test_what_fell_at_one_time_has_no_weibull_shape_and_the_refusal_says_so():
    """All pass until 0.98 years and are out at 1: any steeper curve fits better."""
    n = 40
    start = np.r_[np.zeros(n), np.full(n, 0.5), np.full(n, 0.98)]
    end = np.r_[np.full(n, 0.5), np.full(n, 0.98), np.ones(n)]
    seen = Results.of(np.tile(np.arange(n), 3), start, end, np.repeat([False, False, True], n))
    with pytest.raises(
        CannotFit, match=r"more steeply than any Weibull curve.*at about the same time"
    ):
        fit_weibull(seen)
    assert fit_exponential(seen).rate > 0


def test_what_falls_at_once_and_then_hardly_has_no_weibull_shape():
    n = 100
    end = np.r_[np.full(n, 1e-6), np.full(n, 10.0), np.full(n, 1e5)]
    start = np.r_[np.zeros(n), np.full(n, 1e-6), np.full(n, 10.0)]
    out = np.r_[np.arange(n) < 30, np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)]
    seen = Results.of(np.tile(np.arange(n), 3), start, end, out)
    with pytest.raises(
        CannotFit, match=r"more gently than any Weibull curve.*some went out at once"
    ):
        fit_weibull(seen)


@pytest.mark.parametrize(
    ("start", "end", "out"),
    [
        ([0.0], [math.nan], [True]),
        ([2.0], [1.0], [True]),
        ([-1.0], [1.0], [False]),
        ([1.0], [1.0], [False]),
        ([0.0], [0.0], [True]),
    ],
)
def test_impossible_times_are_refused(start, end, out):
    with pytest.raises(CannotFit, match="start, end"):
        Results.of([1], start, end, out)


def test_all_out_has_no_rate():
    with pytest.raises(CannotFit, match="all results are out"):
        fit_exponential(Results.of(np.arange(30), np.zeros(30), np.ones(30), np.ones(30)))


def test_repeated_visits_widen_the_limits():
    who, out = np.repeat(np.arange(20), 6), np.repeat(np.arange(20) < 4, 6)
    alike = Results.of(who, np.zeros(120), np.ones(120), out)
    apart = Results.of(np.arange(120), np.zeros(120), np.ones(120), out)
    assert design_effect(alike) == pytest.approx(6 * 20 / 19)
    assert design_effect(apart) == pytest.approx(120 / 119)
    wide, narrow = fit_exponential(alike).rate_limits, fit_exponential(apart).rate_limits
    assert wide.upper - wide.lower > 2 * (narrow.upper - narrow.lower)


def test_what_shows_no_difference_between_instruments_widens_nothing():
    one, years = np.zeros(6), np.arange(6.0)
    only_one = Results.of(one, years, years + 1, years == 5)
    all_out = Results.of(np.arange(6), one, years + 1, one == 0)
    assert (design_effect(only_one), design_effect(all_out)) == (1.0, 1.0)


def test_a_region_shrunk_to_one_curve_has_that_curve_for_both_limits():
    certain = ReliabilityFit(2.0, 1.0, -1.0, 60, 10, 1.0, 0.95, np.zeros((2, 8)))
    assert certain.rate_limits == (1.0, 1.0)
    assert [float(end[0]) for end in certain.band([1.0])] == pytest.approx([math.exp(-1)] * 2)


def test_shape_is_recovered_and_differs_from_a_constant_rate():
    seen = drawn(np.random.default_rng(3), 1000, shape=3.0, scale=3.0)
    weibull = fit_weibull(seen)
    assert weibull.shape_limits.lower < 3.0 < weibull.shape_limits.upper
    assert weibull.scale == pytest.approx(3.0, rel=0.1)
    assert weibull.log_likelihood > fit_exponential(seen).log_likelihood + 10


def test_upper_limit_of_the_rate_holds():
    """R(1 year) = 0.95, 120 results: the limit follows from how many are out, so every number that
    may be is weighed by how likely it is.
    """
    one, truth, n = np.ones(120), -math.log(0.95), 120
    held = 0.0
    for out in range(30):
        seen = Results.of(np.arange(n), 0 * one, one, np.arange(n) < out)
        likely = math.comb(n, out) * 0.05**out * 0.95 ** (n - out)
        held += likely * (rate_limit(seen).upper >= truth)
    assert held >= 0.95 - 0.01


def test_out_at_the_first_visit_and_not_put_right_starts_no_clock():
    seen = results_of_visits(
        [1] * 4, [0, 1, 2, 3], [False, False, True, True], [False, True, False, False]
    )
    assert seen.start.tolist() == [0, 1]
    assert seen.end.tolist() == [1, 2]
    assert not seen.out.any()


def test_visits_may_come_in_any_order_and_clocks_do_not_run_over_from_another_instrument():
    order = [3, 0, 4, 1, 2]
    who, years = np.array([1, 1, 1, 2, 2]), np.array([0.0, 1.0, 2.5, 5.0, 7.0])
    inside, renewed = np.array([1, 1, 0, 1, 0], bool), np.array([0, 1, 0, 0, 1], bool)
    seen = results_of_visits(who[order], years[order], inside[order], renewed[order])
    assert sorted(zip(seen.instrument, seen.start, seen.end, seen.out, strict=True)) == [
        (0, 0, 1, False),
        (0, 0, 1.5, True),
        (1, 0, 2, True),
    ]


# ---- limits by the full profile likelihood ----
def height_at(seen, log_rate, log_shape):
    """The bare log likelihood, written out row by row."""
    rate, shape = math.exp(log_rate), math.exp(log_shape)
    total = 0.0
    for start, end, out in zip(seen.start, seen.end, seen.out, strict=True):
        lapse = rate * (end**shape - start**shape)
        total += math.log(-math.expm1(-lapse)) if out else -lapse
    return total


@pytest.fixture(scope="module")
def weibull():
    seen = drawn(np.random.default_rng(8), 200, shape=2.0, scale=4.0)
    return seen, fit_weibull(seen, confidence=0.90)


def test_the_edge_of_the_region_has_the_likelihood_it_should(weibull):
    seen, fit = weibull
    drop = fit.design_effect * 1.6448536269514722**2 / 2
    for log_rate, log_shape in fit.edge.T[::12]:
        assert height_at(seen, log_rate, log_shape) == pytest.approx(
            fit.log_likelihood - drop, abs=1e-6
        )


@pytest.mark.parametrize("target", [0.9, 0.95, 0.99])
def test_interval_limit_is_the_shortest_that_any_curve_in_the_region_gives(weibull, target):
    """By an independent search: the smallest interval with the likelihood above the edge."""
    seen, fit = weibull
    floor = fit.log_likelihood - fit.design_effect * 1.6448536269514722**2 / 2

    def shortest(log_shape):
        """At this shape, by the highest rate in the region, found by bisection.

        Far off where there is none.
        """
        best = minimize_scalar(lambda r: -height_at(seen, r, log_shape), (-8, 0), method="brent").x
        if height_at(seen, best, log_shape) < floor:
            return 10.0
        rate = brentq(lambda r: height_at(seen, r, log_shape) - floor, best, best + 4, xtol=1e-10)
        return (math.log(-math.log(target)) - rate) / math.exp(log_shape)

    found = minimize_scalar(
        shortest,
        method="bounded",
        bounds=[math.log(s) for s in fit.shape_limits],
        options={"xatol": 1e-7},
    )
    assert fit.interval_limits(target).lower == pytest.approx(math.exp(found.fun), rel=1e-5)
    assert fit.interval_limits(target).lower < fit.interval(target)


def test_band_meets_the_target_at_the_interval_limits(weibull):
    _, fit = weibull
    ends = fit.interval_limits(0.95)
    low, high = fit.band(list(ends))
    assert low[0] == pytest.approx(0.95, abs=1e-6)
    assert high[1] == pytest.approx(0.95, abs=1e-6)


def test_rate_limits_leave_the_shape_free(weibull):
    """Held at the fitted shape, as if it were known, they would be narrower."""
    seen, fit = weibull
    at = [height_at(seen, math.log(rate), math.log(fit.shape)) for rate in fit.rate_limits]
    drop = fit.design_effect * 1.6448536269514722**2 / 2
    assert max(at) < fit.log_likelihood - 1.05 * drop


def test_limits_of_a_constant_rate_are_those_of_the_band():
    seen = drawn(np.random.default_rng(9), 100)
    fit = fit_exponential(seen, confidence=0.90)
    low, high = fit.band([1.0])
    assert [low[0], high[0]] == pytest.approx([math.exp(-r) for r in fit.rate_limits[::-1]])
    assert fit.interval_limits(0.95).lower == pytest.approx(rate_limit(seen).interval(0.95))


@pytest.mark.parametrize(("shape", "weibull"), [(1.0, False), (3.0, True)])
def test_one_sided_limits_hold_in_simulated_families(shape, weibull):
    """100 instruments of 6 visits, 120 families: Monte Carlo sd 2 points.

    The full form: tests.bench.reliability.
    """
    h = held(Law(shape), 100, 6, 120, seed=2, weibull=weibull)
    assert h.fitted == 100
    assert min(h.rate, h.interval, *h.band_low, *h.band_high) >= 95 - 3 * 2
    assert max(h.misfit, h.split) <= 5 + 3 * 2


@pytest.mark.parametrize(("k", "n", "effect"), [(5, 20, 0.5), (-1, 20, 1), (21, 20, 1), (0, 0, 1)])
def test_what_is_no_share_is_refused(k, n, effect):
    with pytest.raises(ValueError, match="not a share"):
        binomial_limits(k, n, effect=effect)
