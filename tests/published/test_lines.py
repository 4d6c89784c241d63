"""The line through the origin against REG-02, and against least squares of NumPy as a referee."""

import numpy as np
import pytest
from scipy import stats

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
    rest = line.residual_sd**2 * line.dof
    assert 1 - rest / np.square(inputs["y"]).sum() == near(
        "REG-02", expected["r_squared_uncorrected"]
    )
    assert (line.slope / line.se_slope) ** 2 == near("REG-02", expected["f_statistic"])


@pytest.mark.parametrize("seed", range(5))
def test_line_through_the_origin_agrees_with_numpy(seed):
    """numpy.linalg.lstsq, and Student's t of scipy.stats for the interval."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(0.5, 2, 12)
    y = 0.2 * x + rng.normal(0, 0.05, 12)
    (slope,), (rest,), *_ = np.linalg.lstsq(x[:, None], y)
    error = np.sqrt(rest / 11 / (x @ x))
    line = through_origin(x, y)
    assert line.slope == pytest.approx(slope, rel=1e-12)
    assert line.se_slope == pytest.approx(error, rel=1e-10)
    interval = stats.t.interval(0.9, 11, loc=slope, scale=error)
    assert line.slope_interval(0.9) == pytest.approx(interval, rel=1e-9)
