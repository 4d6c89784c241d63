"""Reliability from pass and fail: INT-02, INT-04, INT-05 and INT-11."""

import numpy as np
import pytest
from scipy.optimize import minimize

from calibration.metrology.reliability import fit_weibull
from calibration.metrology.shares import (
    binomial_limits,
)
from calibration.metrology.survival import nonparametric_curve
from calibration.metrology.visit_results import Results
from tests.published.reference import near, reference


def test_exact_binomial_limits_int_02():
    inputs, expected = reference("INT-02")
    for case, wanted in zip(inputs["cases"], expected["two_sided"], strict=True):
        assert list(binomial_limits(*case)) == near("INT-02", wanted)
    one_sided = expected["one_sided_20_of_100"]
    got = binomial_limits(20, 100, 0.90)
    assert got.upper == near("INT-02", one_sided["upper_95"], digits=12)
    assert got.lower == near("INT-02", one_sided["lower_95"], digits=12)


def test_weibull_curve_of_167_parts_int_04():
    inputs, expected = reference("INT-04")
    edges, failed = inputs["edges_months"], inputs["failed_in_interval"]
    rows = []
    for start, end, n in zip(edges, edges[1:], failed, strict=False):
        rows += n * [(start, end, True)]
        rows += n * [(0.0, start, False)] if start else []
    rows += inputs["survived_last"] * [(0.0, edges[-1], False)]
    start, end, out = zip(*rows, strict=True)
    fit = fit_weibull(Results.of(np.arange(len(rows)), start, end, out))
    wanted = expected
    assert fit.scale == near("INT-04", wanted["eta"])
    assert fit.shape == near("INT-04", wanted["beta"])
    assert fit.log_likelihood == near("INT-04", wanted["log_likelihood"])
    assert fit.interval(0.95) == near("INT-04", wanted["weibull_time_at_R_0_95"])
    assert np.log(fit.scale) == near("INT-04", wanted["extreme_value"]["location"])
    assert 1 / fit.shape == pytest.approx(wanted["extreme_value"]["scale"], abs=1e-6)


def patients() -> Results:
    """The spans of INT-05 as visits: one that begins late follows a visit found in."""
    rows = np.array(reference("INT-05")[0]["rows"])
    left, right = np.repeat(rows[:, :2], rows[:, 2], axis=0).T
    late = left > 0
    start, end = np.r_[left, 0 * left[late]], np.r_[right, left[late]]
    return Results.of(np.arange(len(start)), start, end, np.arange(len(start)) < len(left))


def test_weibull_curve_of_exact_and_censored_times_int_05():
    seen, expected = patients(), reference("INT-05")[1]
    assert seen.failures == 731
    fit = fit_weibull(seen)
    assert fit.scale == near("INT-05", expected["eta"])
    assert fit.shape == near("INT-05", expected["beta"])
    assert fit.log_likelihood == near("INT-05", expected["log_likelihood"])


def test_the_same_curve_by_a_search_on_the_bare_likelihood_int_05():
    """Exact times by their density, spans by the difference of survival.

    No code of ours, no derivative.
    """
    rows = np.array(reference("INT-05")[0]["rows"], dtype=float)
    left, right, times = rows.T
    exact = left == right

    def less_likely(logs):
        scale, shape = np.exp(logs)
        density = (
            np.log(shape / scale) + (shape - 1) * np.log(right / scale) - (right / scale) ** shape
        )
        span = np.exp(-((left / scale) ** shape)) - np.exp(-((right / scale) ** shape))
        return -(times * np.where(exact, density, np.log(np.where(exact, 1.0, span)))).sum()

    found = minimize(
        less_likely, [3.0, 1.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-9}
    )
    fit = fit_weibull(patients())
    assert fit.scale == pytest.approx(np.exp(found.x[0]), rel=1e-6)
    assert fit.shape == pytest.approx(np.exp(found.x[1]), rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-found.fun, rel=1e-10)


def test_curve_without_a_law_int_11():
    inputs, expected = reference("INT-11")
    curve = nonparametric_curve(patients())
    at = np.searchsorted(curve.upper, inputs["years"], side="right") - 1
    assert curve.left[at] == near("INT-11", expected["survival"])
    assert curve.log_likelihood == near("INT-11", expected["log_likelihood"], digits=9)
