"""What caused a flagged increment: a jump in the drift, or a single bad reading."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np

from calibration.metrology.histories import Histories
from calibration.metrology.residuals import residuals
from calibration.metrology.wander import Prior, outlook

_TINY = 1e-300


class Cause(StrEnum):
    JUMP = "jump"
    BAD_READING = "bad reading"
    EITHER = "jump or bad reading"


class Diagnosis(NamedTuple):
    """The likelier cause of a flagged increment.

    visit: place of the reading that may be bad (0 is the first visit), or of the one before which
    the jump came. why: empty, or why the two causes look alike.
    """

    cause: Cause
    visit: int
    why: str


def diagnose(histories: Histories, prior: Prior, place: int, increment: int) -> Diagnosis:
    """Jump or single bad reading, for a flagged increment (its row) of the instrument at ``place``.

    A bad reading goes up and back: it pulls this increment one way and its neighbour the other.
    Where the visit was adjusted, or has no increment after it, nothing comes back, and the two look
    alike. Raises NoIncrement where that row has none.
    """
    one = histories.columns(slice(place, place + 1))
    own = prior.columns(slice(place, place + 1), len(histories)).of_steady_rate
    if not one.counted[increment, 0]:
        raise NoIncrement(place, increment)
    u, p, between, _ = (part[..., 0] for part in residuals(one, own))
    weights = outlook(one, own).weights[:, 0]
    first = len(one.increments) - int(one.visits[0]) + 1  # row of the first increment
    jump = _gain(u[increment] ** 2, p[increment], weights)
    pairs = [k for k in (increment, increment - 1) if _comes_back(one, k)]
    gains = {k: _pair_gain(u, p, between, k, weights) for k in pairs}
    after = increment + 1 - first
    why = _why_not(one, increment)
    best = max(gains, key=gains.__getitem__) if gains else None
    if best is not None and gains[best] > jump:
        return Diagnosis(Cause.BAD_READING, best + 1 - first, "")
    if why:
        return Diagnosis(Cause.EITHER, after, why)
    return Diagnosis(Cause.JUMP, after, "")


class NoIncrement(ValueError):
    """A row of a history without an increment. Attributes: place, increment."""

    def __init__(self, place: int, increment: int) -> None:
        self.place, self.increment = place, increment
        super().__init__(
            f"instrument {place + 1}, row {increment}: there is no increment here; a reading is "
            f"missing, or the history is shorter. Give a row that is flagged."
        )


def _comes_back(one: Histories, k: int) -> bool:
    """The reading that ends increment k also begins the next one."""
    last = len(one.increments) - 1
    return bool(0 <= k < last and one.counted[k : k + 2, 0].all() and not one.adjusted[k, 0])


def _why_not(one: Histories, k: int) -> str:
    if k == len(one.increments) - 1:
        return "it is the last visit: the next will tell"
    if one.adjusted[k, 0]:
        return "the visit was adjusted"
    return "" if one.counted[k + 1, 0] else "the reading after it is missing"


def _gain(square: np.ndarray, variance: np.ndarray, weights: np.ndarray) -> float:
    """Log of the likelihood gained by a deviation of the best size, averaged over q."""
    score = 0.5 * square / variance
    return float(score.max() + np.log((weights * np.exp(score - score.max())).sum() + _TINY))


def _pair_gain(
    u: np.ndarray, p: np.ndarray, between: np.ndarray, k: int, weights: np.ndarray
) -> float:
    """Of a deviation that goes into increment k and out of the next."""
    variance = p[k] + p[k + 1] - 2 * between[k]
    return _gain((u[k] - u[k + 1]) ** 2, variance, weights)
