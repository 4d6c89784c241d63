"""Straight lines against REG-01 to REG-05, and against statsmodels as a referee."""

import numpy as np
import pytest
import statsmodels.api as sm

from calibration.metrology.drift import fit_line, through_origin
from tests.published.reference import near, reference


def test_ozone_monitor_line_has_the_certified_digits_reg_01():
    """NIST StRD, Norris."""
    inputs, expected = reference("REG-01")
    x, y = np.array(inputs["x"]), np.array(inputs["y"])
    fit = fit_line(x, y)
    assert fit.slope == near("REG-01", expected["b1"])
    assert fit.se_slope == near("REG-01", expected["b1_sd"])
    assert fit.intercept == near("REG-01", expected["b0"])
    assert fit.se_intercept == near("REG-01", expected["b0_sd"])
    assert fit.residual_sd == near("REG-01", expected["residual_sd"])
    assert fit.dof == expected["dof"]
    assert fit.slope**2 * fit.sxx == near("REG-01", expected["ss_regression"])
    assert (fit.slope / fit.se_slope) ** 2 == near("REG-01", expected["f_statistic"])


def test_line_through_the_origin_reg_02():
    """NIST StRD, NoInt1."""
    inputs, expected = reference("REG-02")
    fit = through_origin(inputs["x"], inputs["y"])
    assert fit.slope == near("REG-02", expected["b1"])
    assert fit.se_slope == near("REG-02", expected["b1_sd"])
    assert fit.residual_sd == near("REG-02", expected["residual_sd"])
    assert fit.dof == expected["dof"]
    assert (fit.intercept, fit.se_intercept) == (0.0, 0.0)


def test_equal_weights_leave_the_line_and_known_scatter_scales_its_uncertainty_reg_03():
    """ISO/TS 28037:2010, 6.3, first example."""
    inputs, expected = reference("REG-03")
    fit = fit_line(inputs["x"], inputs["y"])
    scale = inputs["u_y"] / fit.residual_sd
    wanted = expected["more_digits"]
    assert fit.intercept == near("REG-03", wanted["a"])
    assert fit.slope == near("REG-03", wanted["b"])
    assert fit.se_intercept * scale == near("REG-03", wanted["u_a"])
    assert fit.se_slope * scale == near("REG-03", wanted["u_b"])
    assert fit.covariance * scale**2 == near("REG-03", wanted["cov_ab"])
    assert fit.dof / scale**2 == near("REG-03", wanted["chi2"])
    printed = expected["published"]
    assert fit.intercept == pytest.approx(printed["a"], abs=5e-4)
    assert fit.slope == pytest.approx(printed["b"], abs=5e-4)


def test_coefficients_and_their_covariance_reg_04():
    """Bevington, Table 6.1."""
    inputs, expected = reference("REG-04")
    fit = fit_line(inputs["x"], inputs["y"])
    assert fit.intercept == near("REG-04", expected["b0"])
    assert fit.se_intercept == near("REG-04", expected["b0_sd"])
    assert fit.slope == near("REG-04", expected["b1"])
    assert fit.se_slope == near("REG-04", expected["b1_sd"])
    assert fit.covariance == near("REG-04", expected["cov_b0_b1"])


def test_band_of_one_future_reading_is_wider_than_that_of_the_line_reg_05():
    """Walpole and Myers, 33 points."""
    inputs, expected = reference("REG-05")
    fit = fit_line(inputs["x"], inputs["y"])
    x = inputs["at_x"]
    assert fit.slope == near("REG-05", expected["b1"])
    assert fit.se_slope == near("REG-05", expected["b1_sd"])
    assert fit.intercept == near("REG-05", expected["b0"])
    assert fit.se_intercept == near("REG-05", expected["b0_sd"])
    correlation = fit.covariance / (fit.se_slope * fit.se_intercept)
    assert correlation == near("REG-05", expected["correlation"])
    assert fit.line_at(x) == near("REG-05", expected["mean_response"]["y"])
    assert fit.u_line_at(x) == near("REG-05", expected["mean_response"]["u"])
    assert fit.u_reading_at(x) == near("REG-05", expected["single_reading"]["u"])
    derived = expected["derived_here"]
    assert fit.coverage_factor() == near("REG-05", derived["t_975_31"], digits=10)
    band = fit.predict(x)
    assert band.centre == near("REG-05", expected["single_reading"]["y"])
    assert band.half_width == near("REG-05", derived["half_width_95_single"], digits=9)


@pytest.mark.parametrize("seed", range(5))
def test_line_and_band_agree_with_statsmodels(seed):
    """statsmodels 0.15, OLS and its prediction interval for one observation."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 8, 9))
    y = 0.1 + 0.15 * x + rng.normal(0, 0.06, 9)
    other = sm.OLS(y, sm.add_constant(x)).fit()
    fit = fit_line(x, y)
    assert [fit.intercept, fit.slope] == pytest.approx(other.params, rel=1e-10)
    assert [fit.se_intercept, fit.se_slope] == pytest.approx(other.bse, rel=1e-10)
    assert fit.covariance == pytest.approx(other.cov_params()[0, 1], rel=1e-10)
    assert fit.slope_interval(0.9) == pytest.approx(other.conf_int(0.1)[1], rel=1e-9)
    at = np.array([0.0, 5.0, 12.0])
    band = fit.predict(at, 0.9)
    low, high = other.get_prediction(sm.add_constant(at)).conf_int(obs=True, alpha=0.1).T
    assert band.centre - band.half_width == pytest.approx(low, rel=1e-9)
    assert band.centre + band.half_width == pytest.approx(high, rel=1e-9)


def test_line_through_the_origin_agrees_with_statsmodels():
    rng = np.random.default_rng(7)
    x = rng.uniform(0.5, 2, 12)
    y = 0.2 * x + rng.normal(0, 0.05, 12)
    other = sm.OLS(y, x).fit()
    fit = through_origin(x, y)
    assert fit.slope == pytest.approx(other.params[0], rel=1e-12)
    assert fit.se_slope == pytest.approx(other.bse[0], rel=1e-12)
    low, high = other.get_prediction([3.0]).conf_int(obs=True)[0]
    band = fit.predict(3.0)
    assert (band.centre - band.half_width, band.centre + band.half_width) == pytest.approx(
        (low, high), rel=1e-9
    )
