"""Products of the inverse covariance of a history's increments, for deleted residuals.

Visits and instruments as in wander.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from calibration.metrology.histories import Histories
from calibration.metrology.wander import Prior

_LOG_EVERY = 8  # determinants are multiplied this many at a time before their logarithm is taken


class Residuals(NamedTuple):
    """Products of V⁻¹, the inverse covariance of the increments under one q, spread of rate within.

    pull: V⁻¹ (d − rate dt), K by J by N. own: the diagonal of V⁻¹, K by J by N. between: what
    stands beside it, K − 1 by J by N. evidence: its logarithm for each q but for a constant, J by
    N.
    """

    pull: np.ndarray
    own: np.ndarray
    between: np.ndarray
    evidence: np.ndarray


def residuals(histories: Histories, prior: Prior) -> Residuals:
    """Residuals of all increments under every q.

    V is tridiagonal but for one product, so two passes along the visits give all that is asked of
    its inverse.
    """
    spread = prior.variance
    off = histories.increments - prior.rate * histories.years
    pull, along, by, carry, log_det = _forward(histories, prior.q, off)
    own, between = _backward(pull, along, by, carry)
    a, b, c = (
        np.einsum("kjn,kn->jn", x, y)
        for x, y in ((along, histories.years), (pull, histories.years), (pull, off))
    )
    share = spread / (1 + spread * a)
    evidence = -0.5 * (log_det + np.log1p(spread * a) + c - share * b * b)
    pull -= share * b * along
    own -= share * along * along
    between -= share * along[:-1] * along[1:]
    return Residuals(pull, own, between, evidence)


def _forward(histories: Histories, q: np.ndarray, off: np.ndarray) -> tuple[np.ndarray, ...]:
    """Eliminate each increment from the next.

    Returns both right sides, inverse pivots, multipliers, and the logarithm of the determinant.
    """
    d = histories.variance[:, None, :] + q * histories.years[:, None, :]
    shape = d.shape
    by, carry = np.empty(shape), np.empty(shape)  # 1 / pivot, and its multiple for the next row
    pull, along = np.empty(shape), np.empty(shape)  # become T⁻¹ off and T⁻¹ dt
    product, log_det = np.ones(shape[1:]), np.zeros(shape[1:])
    for i in range(len(d)):
        pull[i], along[i] = off[i], histories.years[i]
        pivot = d[i]
        if i:
            pivot = pivot - histories.shared[i - 1] * carry[i - 1]
            pull[i] += carry[i - 1] * pull[i - 1]
            along[i] += carry[i - 1] * along[i - 1]
        by[i] = 1 / pivot
        carry[i] = histories.shared[i] * by[i]
        product *= pivot
        if i % _LOG_EVERY == _LOG_EVERY - 1:
            log_det += np.log(product)
            product.fill(1.0)
    log_det += np.log(product)
    return pull, along, by, carry, log_det


def _backward(
    pull: np.ndarray, along: np.ndarray, by: np.ndarray, carry: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Solve from the last row up, in place; and the diagonals of the inverse."""
    own, between = np.empty_like(pull), np.empty_like(pull[1:])
    last = len(pull) - 1
    for i in reversed(range(len(pull))):
        pull[i] *= by[i]
        along[i] *= by[i]
        own[i] = by[i]
        if i < last:
            pull[i] += carry[i] * pull[i + 1]
            along[i] += carry[i] * along[i + 1]
            between[i] = carry[i] * own[i + 1]
            own[i] += carry[i] * between[i]
    return own, between
