"""Drift from a history with adjustments: INT-09."""

import numpy as np
from scipy.optimize import brentq

from calibration.metrology.drift import through_origin
from calibration.metrology.histories import histories
from calibration.metrology.uncertainty import student_factor
from tests.published.reference import near, reference


def increments_of(inputs):
    return histories(
        inputs["day"], inputs["as_found_pct"], inputs["as_left_pct"], True, 0.05
    ).increments[:, 0]


def test_increments_take_adjustments_out_int_09():
    inputs, expected = reference("INT-09")
    assert increments_of(inputs) == near("INT-09", expected["increments_pct"])


def test_rate_through_the_origin_int_09():
    inputs, expected = reference("INT-09")
    wanted = expected["through_origin"]
    spans = np.diff(inputs["day"])
    assert spans.tolist() == expected["increment_days"]
    line = through_origin(spans, increments_of(inputs))
    assert line.slope == near("INT-09", wanted["rate_pct_per_day"])
    assert line.slope * 365.25 == near("INT-09", wanted["rate_pct_per_year_365_25"])
    assert line.residual_sd == near("INT-09", wanted["s_pct"])
    assert line.se_slope == near("INT-09", wanted["u_rate_pct_per_day"])
    assert line.dof == wanted["dof"]
    k = student_factor(line.dof, inputs["confidence"])
    assert k == near("INT-09", wanted["k_95"])
    low, high = line.slope_interval(inputs["confidence"])
    assert (high - low) / (2 * line.se_slope) == near("INT-09", wanted["k_95"])
    left, tolerance = inputs["as_left_pct"][-1], inputs["tolerance_pct"]
    meets = (tolerance - left) / line.slope
    assert meets == near("INT-09", wanted["days_until_line_meets_tolerance"])

    def room(days: float) -> float:
        half = k * np.hypot(line.residual_sd, days * line.se_slope)
        return tolerance - left - line.slope * days - half

    days = brentq(room, 0, meets)
    key = "days_after_last_until_band_meets_tolerance"
    assert days == near("INT-09", wanted[key], digits=6)
