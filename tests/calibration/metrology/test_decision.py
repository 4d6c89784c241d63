import math

import numpy as np
import pytest

from calibration.metrology.decision import (
    Verdict,
    acceptance_by_risk,
    conformance_probability,
    family_errors,
    global_risks,
    guard_for_risk,
    guarded_acceptance,
    simple_acceptance,
    uncertainty_ratio,
    within_tolerance,
    worst,
)
from calibration.metrology.errors import percent_errors


def test_error_within_the_tolerance_passes_and_beyond_fails():
    assert simple_acceptance([0.0, 0.5, -0.5, 0.501, -0.501], 0.5) == [
        Verdict.PASS,
        Verdict.PASS,
        Verdict.PASS,
        Verdict.FAIL,
        Verdict.FAIL,
    ]


def test_error_of_exactly_the_tolerance_passes_whatever_its_float():
    """4.048 − 4 mA is 0.3 % of span on paper; as floats it comes out above."""
    error = percent_errors(4.048, 4.0, signal_span=16.0)
    assert error > 0.3
    assert within_tolerance(error, 0.3)


def test_a_tolerance_may_be_given_for_each_reading():
    assert within_tolerance([0.3, 0.3], [0.25, 0.5]).tolist() == [False, True]


@pytest.mark.parametrize("tolerance", [0, -0.5, math.nan])
def test_tolerance_not_above_zero_is_refused(tolerance):
    with pytest.raises(ValueError, match="tolerance"):
        simple_acceptance([0.1], tolerance)


@pytest.mark.parametrize("error", [math.nan, math.inf])
def test_error_that_is_not_a_number_is_refused(error):
    with pytest.raises(ValueError, match=r"errors: .* not a number"):
        simple_acceptance([0.1, error], 0.5)


@pytest.mark.parametrize(
    ("verdicts", "whole"),
    [
        (["pass", "pass"], Verdict.PASS),
        (["pass", "inconclusive"], Verdict.INCONCLUSIVE),
        (["inconclusive", "fail", "pass"], Verdict.FAIL),
        ([Verdict.FAIL], Verdict.FAIL),
    ],
)
def test_worst_verdict_is_that_of_the_whole(verdicts, whole):
    assert worst(verdicts) is whole


def test_nothing_tested_is_no_pass():
    with pytest.raises(ValueError, match="nothing tested"):
        worst([])


def test_unknown_verdict_is_refused():
    with pytest.raises(ValueError, match="maybe"):
        worst(["pass", "maybe"])


def test_guard_band_leaves_a_result_open_on_both_sides_of_the_limit():
    verdicts = guarded_acceptance([0.4, 0.41, 0.5, 0.6, 0.61, -0.4, -0.6, -0.61], 0.5, 0.1)
    assert [v.value for v in verdicts] == [
        "pass",
        "inconclusive",
        "inconclusive",
        "inconclusive",
        "fail",
        "pass",
        "inconclusive",
        "fail",
    ]


def test_guard_band_of_nothing_is_simple_acceptance():
    errors = np.linspace(-1, 1, 41)
    assert guarded_acceptance(errors, 0.5, 0.0) == simple_acceptance(errors, 0.5)


def test_band_wider_than_the_tolerance_accepts_nothing():
    assert guarded_acceptance([0.0, 0.9, 1.2], 0.5, 0.6) == [
        Verdict.INCONCLUSIVE,
        Verdict.INCONCLUSIVE,
        Verdict.FAIL,
    ]
    assert float(global_risks(0.5, 0.3, 0.2, guard=0.6).accepted) == 0.0


def test_limit_on_risk_is_a_guard_band_where_one_limit_is_near():
    u, risk = 0.05, 0.025
    band = float(guard_for_risk(u, risk))
    errors = [0.5 - band - 1e-6, 0.5 - band + 1e-6, 0.5 + band - 1e-6, 0.5 + band + 1e-6]
    assert acceptance_by_risk(errors, 0.5, u, risk=risk) == guarded_acceptance(errors, 0.5, band)


def test_limit_on_risk_counts_both_limits_of_a_narrow_tolerance():
    """At ± 1.7 u a perfect zero lies outside in 9 of 100; one limit alone would pass it at 5 %."""
    assert acceptance_by_risk([0.0], 1.7, 1.0, risk=0.05) == [Verdict.INCONCLUSIVE]


def test_few_repeats_make_the_same_error_less_sure():
    assert acceptance_by_risk([0.4], 0.5, 0.05, risk=0.025) == [Verdict.PASS]
    assert acceptance_by_risk([0.4], 0.5, 0.05, risk=0.025, dof=2) == [Verdict.INCONCLUSIVE]


def test_rules_serve_a_fleet_in_one_call():
    rng = np.random.default_rng(2)
    errors, tolerance = rng.normal(0, 0.5, 200), rng.uniform(0.2, 1, 200)
    u = rng.uniform(0.01, 0.2, 200)
    assert acceptance_by_risk(errors, tolerance, u, risk=0.05) == [
        acceptance_by_risk(e, t, v, risk=0.05)[0]
        for e, t, v in zip(errors, tolerance, u, strict=True)
    ]
    fleet = global_risks(tolerance, u, 0.5, mean=errors, guard=u)
    alone = [
        float(global_risks(t, v, 0.5, mean=e, guard=v).consumer)
        for e, t, v in zip(errors, tolerance, u, strict=True)
    ]
    assert fleet.consumer.tolist() == pytest.approx(alone, rel=1e-12)


def test_risks_stay_between_nought_and_one_at_the_far_ends():
    risks = global_risks(1.0, [1e-6, 100.0], [1e-3, 1e-3], mean=[0.0, 50.0])
    for shares in (risks.consumer, risks.producer, risks.in_tolerance, risks.accepted):
        assert ((shares >= 0) & (shares <= 1)).all()


def test_family_errors_leave_out_the_scatter_of_measuring():
    rng = np.random.default_rng(6)
    seen = rng.normal(0.1, 0.3, 20_000) + rng.normal(0, 0.2, 20_000)
    family = family_errors(seen, 0.2)
    assert family.mean == pytest.approx(0.1, abs=0.01)
    assert family.spread == pytest.approx(0.3, abs=0.01)
    assert family.n == 20_000


def test_family_that_looks_perfect_keeps_a_spread():
    family = family_errors([0.1, -0.1, 0.05, 0.0], 5.0)
    assert 0 < family.spread < 0.1


def test_the_least_spread_is_the_uncertainty_of_the_family_s_own_variance():
    """Five results of variance 2.5: known to √(2/4) of itself; measuring would explain them all."""
    family = family_errors([-2.0, -1.0, 0.0, 1.0, 2.0], 5.0)
    assert family.spread**2 == pytest.approx(2.5 * math.sqrt(2 / 4), rel=1e-12)


@pytest.mark.parametrize("errors", [[], [0.1, 0.2], [0.1, 0.1, 0.1], [0.1, math.nan, 0.2]])
def test_family_errors_from_too_little_are_refused(errors):
    with pytest.raises(ValueError, match="errors"):
        family_errors(errors, 0.01)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: uncertainty_ratio(0, 1), "tolerance"),
        (lambda: uncertainty_ratio(1, 0), "expanded"),
        (lambda: guarded_acceptance([0.1], 1, -0.1), "guard"),
        (lambda: guarded_acceptance([math.nan], 1, 0.1), "errors"),
        (lambda: guarded_acceptance([0.1], math.inf, 0.1), "tolerance"),
        (lambda: acceptance_by_risk([0.1], 1, 0.1, risk=0.5), "risk"),
        (lambda: acceptance_by_risk([0.1], 1, 0.1, risk=0), "risk"),
        (lambda: acceptance_by_risk([0.1], 1, 0.0, risk=0.05), "u:"),
        (lambda: conformance_probability(0.1, 0.1), "one limit is needed"),
        (lambda: conformance_probability(0.1, 0.1, lower=1, upper=1), "lower, upper"),
        (lambda: conformance_probability(0.1, 0.1, upper=1, dof=0), "dof"),
        (lambda: conformance_probability(0.1, math.nan, upper=1), "u:"),
        (lambda: guard_for_risk(0.1, 0.6), "risk"),
        (lambda: global_risks(1, 0.1, 0), "spread"),
        (lambda: global_risks(1, 0.1, 0.1, mean=math.nan), "mean"),
    ],
)
def test_what_no_rule_can_take_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()
