"""The covariance of a history's increments, as a whole matrix that shares nothing with the code."""

from __future__ import annotations

import numpy as np

from calibration.metrology.histories import Histories
from calibration.metrology.wander import Prior


def covariance(history: Histories, prior: Prior, place: int, law: int) -> np.ndarray:
    """Of the increments of one instrument under one law, the spread of the rate within; K by K."""
    dt = history.years[:, place]
    v = np.diag(history.variance[:, place] + prior.q[law, min(place, prior.q.shape[1] - 1)] * dt)
    shared = history.shared[:-1, place]
    v -= np.diag(shared, 1) + np.diag(shared, -1)
    v += prior.variance[min(place, prior.rate.size - 1)] * np.outer(dt, dt)
    change = prior.change[law, min(place, prior.change.shape[1] - 1)]
    return v + change * _of_a_changing_rate(dt) if change else v


def _of_a_changing_rate(dt: np.ndarray) -> np.ndarray:
    """What a rate that changes by a variance of 1 a year adds: each change counts in an increment
    for as long as there is left of it.
    """
    ends = np.cumsum(dt)
    at = np.linspace(0, ends[-1], 40_001)
    left = np.clip(ends[:, None] - at, 0, dt[:, None])
    return np.trapezoid(left[:, None] * left[None], at, axis=-1)
