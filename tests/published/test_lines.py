"""The line through the origin against REG-02, and against statsmodels as a referee."""

import numpy as np
import pytest
import statsmodels.api as sm

from calibration.metrology.drift import through_origin
from tests.published.reference import near, reference


def test_line_through_the_origin_reg_02():
    """NIST StRD, NoInt1."""
    inputs, expected = reference("REG-02")
    line = through_origin(inputs["x"], inputs["y"])
    assert line.slope == near("REG-02", expected["b1"])
    assert line.se_slope == near("REG-02", expected["b1_sd"])
    assert line.residual_sd == near("REG-02", expected["residual_sd"])
    assert line.dof == expected["dof"]


@pytest.mark.parametrize("seed", range(5))
def test_line_through_the_origin_agrees_with_statsmodels(seed):
    """statsmodels 0.15, OLS without a constant."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(0.5, 2, 12)
    y = 0.2 * x + rng.normal(0, 0.05, 12)
    other = sm.OLS(y, x).fit()
    line = through_origin(x, y)
    assert line.slope == pytest.approx(other.params[0], rel=1e-12)
    assert line.se_slope == pytest.approx(other.bse[0], rel=1e-12)
    assert line.slope_interval(0.9) == pytest.approx(other.conf_int(0.1)[0], rel=1e-9)
