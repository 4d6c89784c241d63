"""The factor of a band of a mixture, which is computed as a polynomial at the usual confidence."""

import numpy as np
import pytest
from scipy.special import stdtrit

from calibration.metrology.bands import LEAST, MOST, band_factor, degrees_of_freedom, mixture_band

EXCESS = np.r_[0.0, 1e-4, np.geomspace(1e-3, 1e6, 400)]


def exact(confidence):
    dof = np.minimum(degrees_of_freedom(EXCESS), 1e12)
    return stdtrit(dof, 0.5 + confidence / 2) * np.sqrt(1 - 2 / dof)


@pytest.mark.parametrize(("confidence", "within"), [(0.95, 1e-11), (0.9, 1e-9), (0.999, 1e-9)])
def test_the_factor_is_that_of_the_t_distribution_of_the_same_kurtosis(confidence, within):
    assert band_factor(EXCESS, confidence) == pytest.approx(exact(confidence), rel=within)


def test_no_kurtosis_takes_the_factor_beyond_its_least_and_most():
    assert (exact(0.95) > LEAST).all()
    assert (exact(0.95) < MOST).all()
    assert exact(0.95).max() - exact(0.95).min() > 0.9 * (MOST - LEAST)


def test_one_normal_alone_has_its_own_band():
    band = mixture_band(np.array([[1.0]]), np.array([[0.3]]), np.array([[0.04]]))
    assert band.lower == pytest.approx(0.3 - 1.959963985 * 0.2, abs=1e-9)
    assert band.dof == np.inf
