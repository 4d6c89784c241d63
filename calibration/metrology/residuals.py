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
    """Residuals of all increments under every law of the prior."""
    still = int((prior.change <= 0).all(axis=1).sum())
    steady = _of_steady_rates(histories, prior, prior.q[:still])
    if still == len(prior.q):
        return steady
    others = [_dense(histories, prior, law) for law in range(still, len(prior.q))]
    return Residuals(
        *(
            np.concatenate([part, np.stack(rest, axis=-2)], axis=-2)
            for part, *rest in zip(steady, *others, strict=True)
        )
    )


def _of_steady_rates(histories: Histories, prior: Prior, q: np.ndarray) -> Residuals:
    """V is tridiagonal but for one product, so two passes along the visits give all that is asked
    of its inverse.
    """
    spread = prior.variance
    off = histories.increments - prior.rate * histories.years
    pull, along, by, carry, log_det = _forward(histories, q, off)
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


def _dense(histories: Histories, prior: Prior, law: int) -> Residuals:
    """The same for a law in which the rate changes: every increment is tied to every other."""
    dt = histories.years.T
    off = (histories.increments - prior.rate * histories.years).T
    v = _covariance(histories, prior.q[law], prior.change[law])
    v += np.broadcast_to(prior.variance, dt.shape[:1])[:, None, None] * dt[:, :, None] * dt[:, None]
    inverse = np.linalg.inv(v)
    pull = np.einsum("nij,nj->ni", inverse, off)
    evidence = -0.5 * (np.linalg.slogdet(v)[1] + (pull * off).sum(axis=1))
    own = np.diagonal(inverse, axis1=1, axis2=2)
    return Residuals(pull.T, own.T, np.diagonal(inverse, 1, 1, 2).T, evidence)


def _covariance(histories: Histories, q: np.ndarray, change: np.ndarray) -> np.ndarray:
    """Of the increments at a known first rate, N by K by K; q, change: 1 or N."""
    dt = histories.years.T
    # What a rate that has changed since the start adds to two increments, one ending at or before
    # the beginning of the other: dt dt' times the middle of the earlier; and to one with itself.
    ends = np.cumsum(dt, axis=1)
    middle = ends - dt / 2
    change = np.broadcast_to(change, dt.shape[:1])[:, None]
    earlier = np.minimum(middle[:, :, None], middle[:, None])
    v = change[:, None] * dt[:, :, None] * dt[:, None] * earlier
    k = np.arange(dt.shape[1])
    own = change * dt**2 * (ends - 2 * dt / 3)
    shared = histories.shared[:-1].T
    v[:, k, k] = own + histories.variance.T + np.broadcast_to(q, dt.shape[:1])[:, None] * dt
    v[:, k[:-1], k[1:]] -= shared
    v[:, k[1:], k[:-1]] -= shared
    return np.asarray(v)


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
