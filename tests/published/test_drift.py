"""Drift from a history with adjustments, and the day on which the tolerance is met: INT-09."""

import numpy as np

from calibration.metrology.drift import (
    accumulated_drift,
    crossing,
    drift_increments,
    fit_line,
    through_origin,
)
from tests.published.reference import near, reference


def test_increments_take_adjustments_out_int_09():
    inputs, expected = reference("INT-09")
    increments = drift_increments(inputs["as_found_pct"], inputs["as_left_pct"])
    assert increments == near("INT-09", expected["increments_pct"])


def test_free_running_line_and_the_day_its_band_meets_the_tolerance_int_09():
    inputs, expected = reference("INT-09")
    wanted = expected["free_running_line"]
    days = inputs["day"]
    series = accumulated_drift(inputs["as_found_pct"], inputs["as_left_pct"])
    assert series == near("INT-09", wanted["series_pct"])
    fit = fit_line(days, series)
    assert fit.intercept == near("INT-09", wanted["intercept_pct"])
    assert fit.slope == near("INT-09", wanted["slope_pct_per_day"])
    assert fit.se_slope == near("INT-09", wanted["u_slope"])
    assert fit.residual_sd == near("INT-09", wanted["s_pct"])
    assert fit.coverage_factor() == near("INT-09", wanted["k_95"])
    shift = inputs["as_left_pct"][-1] - series[-1]
    met = crossing(fit, inputs["tolerance_pct"], after=days[-1], horizon=3652.5, offset=shift)
    assert met.band == near("INT-09", wanted["day_band_meets_tolerance"])


def test_rate_through_the_origin_and_its_crossing_day_int_09():
    inputs, expected = reference("INT-09")
    wanted = expected["through_origin"]
    spans = np.diff(inputs["day"])
    assert spans.tolist() == expected["increment_days"]
    fit = through_origin(spans, drift_increments(inputs["as_found_pct"], inputs["as_left_pct"]))
    assert fit.slope == near("INT-09", wanted["rate_pct_per_day"])
    assert fit.slope * 365.25 == near("INT-09", wanted["rate_pct_per_year_365_25"])
    assert fit.residual_sd == near("INT-09", wanted["s_pct"])
    assert fit.se_slope == near("INT-09", wanted["u_rate_pct_per_day"])
    assert fit.dof == wanted["dof"]
    met = crossing(
        fit, inputs["tolerance_pct"], after=0, horizon=3652.5, offset=inputs["as_left_pct"][-1]
    )
    days = "days_after_last_until_band_meets_tolerance"
    assert met.band == near("INT-09", wanted[days], digits=6)
    assert met.line == near("INT-09", wanted["days_until_line_meets_tolerance"])
