"""Central band of a mixture of normals: that of the t distribution with its variance and kurtosis.

Source: derived for this book; kurtosis of the t distribution, 3 + 6 / (ν − 4), from memory.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.polynomial import Polynomial
from scipy.special import stdtrit

from plant.level.checks import BadArgument, not_below_zero, numbers

_HEAVY = 1e-3  # excess kurtosis from which tails are taken as heavier than a normal's
_USUAL = 0.95  # confidence
# The factor at that confidence against 1/ν, to 1e-12 as a polynomial; ν is never below 4.
_INVERSE_DOF = np.linspace(1e-9, 0.25, 4000)
_FACTOR = Polynomial.fit(
    _INVERSE_DOF, stdtrit(1 / _INVERSE_DOF, 0.5 + _USUAL / 2) * np.sqrt(1 - 2 * _INVERSE_DOF), 14
)
# The factor at that confidence is never outside, whatever the kurtosis.
LEAST, MOST = 1.9599, 1.9987


def degrees_of_freedom(excess: np.ndarray) -> np.ndarray:
    """Of that t distribution, from the kurtosis less 3; inf where it is a normal."""
    heavy = excess >= _HEAVY
    return np.where(heavy, 4 + 6 / np.where(heavy, excess, 1.0), np.inf)


def band_factor(excess: np.ndarray, confidence: float = _USUAL) -> np.ndarray:
    """By what the standard deviation is multiplied for a band of this confidence."""
    tails = np.maximum(excess, 0.0)
    inverse = np.where(tails < _HEAVY, 0.0, tails / (4 * tails + 6))
    if confidence == _USUAL:
        return np.asarray(_FACTOR(inverse))
    return np.asarray(
        stdtrit(1 / np.maximum(inverse, 1e-12), 0.5 + confidence / 2) * np.sqrt(1 - 2 * inverse)
    )


class Band(NamedTuple):
    """Centre, standard deviation and band of the mixture over its laws; one place an instrument."""

    centre: np.ndarray
    sd: np.ndarray
    kurtosis: np.ndarray
    dof: np.ndarray
    factor: np.ndarray
    lower: np.ndarray
    upper: np.ndarray


def mixture_band(
    weights: np.ndarray, means: np.ndarray, variances: np.ndarray, confidence: float = 0.95
) -> Band:
    """Band of a mixture of normals (axis −2) by the t distribution of its variance and kurtosis.

    Raises BadArgument for a confidence outside 0 to 1.
    """
    if not 0 < confidence < 1:
        raise BadArgument("confidence", f"{confidence} is not between 0 and 1")
    not_below_zero("weights", weights)
    numbers("means", means)
    not_below_zero("variances", variances)
    centre = (weights * means).sum(axis=-2)
    off2 = (means - centre[..., None, :]) ** 2
    v = (weights * (variances + off2)).sum(axis=-2)
    fourth = (weights * (3 * variances**2 + 6 * variances * off2 + off2**2)).sum(axis=-2)
    excess = fourth / v**2 - 3
    factor = band_factor(excess, confidence)
    sd = np.sqrt(v)
    dof = degrees_of_freedom(excess)
    return Band(centre, sd, excess, dof, factor, centre - factor * sd, centre + factor * sd)
