"""Jumps and single bad readings in a history: which increment stands out, and what caused it.

Each increment is tested against all others of its history under every q (deleted residual) and
flagged where chance would hardly make it. A jump hides itself by looking like a random walk, so the
family is first fitted without the increments that are merely suspicious. Nothing is ever dropped: a
flag asks for a cause, and until one is given a fresh level begins after the increment while the
rate goes on.
Source: derived for this book; shares of right and false flags by simulation
(tests/bench/coverage.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.metrology.families import FEWEST_OTHERS, fit_families
from calibration.metrology.histories import Histories, by_blocks
from calibration.metrology.wander import Prior, outlook

FLAG_BELOW = 0.04  # adjusted p-value: the smallest of a history times the number of increments
SUSPECT_BELOW = 0.3
LIKELY_BELOW = 0.6
FEWEST_VISITS = 5
PAIR_PENALTY = 4.0
_BLOCK = 1024
# An increment within so many standard deviations, at that quantile of the family's walks, is never
# flagged.
_UNUSUAL, _LITTLE = 1.8, 0.25
_LOG_EVERY = 8  # determinants are multiplied this many at a time before their logarithm is taken
_TINY = 1e-300


@dataclass(frozen=True)
class Jumps:
    """The increments of N histories that need a cause: at most one a history, or one pair.

    flags, hints: K by N. A hint is what would be a flag with at least FEWEST_VISITS visits and a
    family behind it.
    returns: K by N; a single bad reading rather than a jump: this increment and the next undo each
    other.
    p_value: N; the smallest of the history times the number of increments tested.
    size: K by N; by how much the increment differs from what all others predict, % of span.
    prior: fitted without the flagged increments, one place an instrument.
    histories: with the flagged increments set aside, of a bad reading both.
    """

    flags: np.ndarray
    hints: np.ndarray
    returns: np.ndarray
    p_value: np.ndarray
    size: np.ndarray
    prior: Prior
    histories: Histories


def fit_without_jumps(histories: Histories, family: ArrayLike, tolerance: ArrayLike) -> Prior:
    """Families fitted without the increments that are suspicious under the fit; a place a family.

    Arguments and errors as in fit_families.
    """
    member = np.asarray(family)
    aside = np.zeros_like(histories.counted)
    prior = fit_families(histories, member, tolerance)
    likely = np.ones(len(histories), dtype=bool)
    for below in (SUSPECT_BELOW, SUSPECT_BELOW, *4 * (FLAG_BELOW,)):
        # Whom chance explains well under one fit it explains under the next, which differs little.
        least = _least_likely(histories, prior.of(member), likely)
        likely = least.p_value < LIKELY_BELOW
        suspects = least.aside(least.p_value < below)
        if below == FLAG_BELOW and (suspects == aside).all():
            break
        aside = suspects
        prior = fit_families(histories.without(aside), member, tolerance, start=prior)
    return prior


def flag_jumps(histories: Histories, prior: Prior) -> Jumps:
    """Flag at most one increment a history, each judged by its prior (one place an instrument)."""
    least = _least_likely(histories, prior, np.ones(len(histories), dtype=bool))
    sure = (histories.visits >= FEWEST_VISITS) & (prior.others >= FEWEST_OTHERS)
    unlikely = least.p_value < FLAG_BELOW
    return Jumps(
        flags=least.at & (unlikely & sure),
        hints=least.at & (unlikely & ~sure),
        returns=least.at & least.is_pair,
        p_value=least.p_value,
        size=least.size,
        prior=prior,
        histories=histories.without(least.aside(unlikely & sure)),
    )


class LeastLikely(NamedTuple):
    """The least likely increment of each history.

    at: K by N; of a pair the first. is_pair, p_value: N. size: K by N.
    """

    at: np.ndarray
    is_pair: np.ndarray
    p_value: np.ndarray
    size: np.ndarray

    def aside(self, which: np.ndarray) -> np.ndarray:
        """The increments to be set aside in these histories (N): of a pair both."""
        marks = self.at & which
        marks[1:] |= marks[:-1] & self.is_pair
        return np.asarray(marks)


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


def _least_likely(histories: Histories, prior: Prior, among: np.ndarray) -> LeastLikely:
    single, size, pair, pair_size = _p_values(histories, prior, among)
    single = np.where(histories.counted, single, 1.0)
    undone = _undone(histories)
    pair = np.where(undone, pair, 1.0)
    p_single = single.min(axis=0) * histories.counted.sum(axis=0)
    # A bad reading is rarer than a jump is asked about: it must be four times as unlikely.
    tested = undone.sum(axis=0)
    p_pair = np.where(tested > 0, PAIR_PENALTY * pair.min(axis=0) * tested, np.inf)
    is_pair = p_pair < p_single
    place = np.where(is_pair, pair.argmin(axis=0), single.argmin(axis=0))
    at = np.zeros(single.shape, dtype=bool)
    at[place, np.arange(len(histories))] = True
    sizes = np.where(at & is_pair, pair_size, size)
    return LeastLikely(at & histories.counted, is_pair, np.where(is_pair, p_pair, p_single), sizes)


def _p_values(histories: Histories, prior: Prior, among: np.ndarray) -> tuple[np.ndarray, ...]:
    """p-value and size of single increments and of pairs, K by N.

    1 and 0 where nothing is unusual.
    """
    shape = histories.increments.shape
    single, size = np.ones(shape), np.zeros(shape)
    pair, pair_size = np.ones(shape), np.zeros(shape)
    suspects = np.flatnonzero(among & _unusual(histories, prior))

    def test(part: slice) -> None:
        at = suspects[part]
        results = _deleted(histories.columns(at), _columns(prior, at))
        (single[:, at], size[:, at]), (pair[:-1, at], pair_size[:-1, at]) = results

    by_blocks(test, len(suspects), _BLOCK)
    return single, size, pair, pair_size


def _undone(histories: Histories) -> np.ndarray:
    """Increments whose visit's reading also begins the next one (K by N): a bad one comes back."""
    undone = np.zeros_like(histories.counted)
    counted = histories.counted
    undone[:-1] = counted[:-1] & counted[1:] & ~histories.adjusted[:-1]
    return undone


def _unusual(histories: Histories, prior: Prior) -> np.ndarray:
    """Whether an increment strays from its history's mean rate by more than usual (N).

    More than reading errors and a little walk allow.
    """
    little = (prior.weights.cumsum(axis=0) < _LITTLE).sum(axis=0)
    q = np.take_along_axis(prior.q, np.minimum(little, len(prior.q) - 1)[None, :], axis=0)
    years = histories.years.sum(axis=0)
    rate = histories.increments.sum(axis=0) / np.where(years > 0, years, 1.0)
    off = histories.increments - rate * histories.years
    unusual = off * off > _UNUSUAL**2 * (histories.variance + q * histories.years)
    return np.asarray((histories.counted & unusual).any(axis=0))


def _columns(prior: Prior, part: slice | np.ndarray) -> Prior:
    wide = prior.rate.shape[-1] > 1
    return prior.of(part) if wide else prior  # type: ignore[arg-type]


def _deleted(
    histories: Histories, prior: Prior
) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Two-sided p-value of each increment given all others, and its size (K by N).

    And the same of a deviation that goes into an increment and out of the next (K − 1 by N).
    """
    u, p, between, evidence = residuals(histories, prior)
    scored = evidence + np.log(prior.weights)
    pairs = u[:-1] - u[1:], p[:-1] + p[1:] - 2 * between
    return _tails(u, p, scored), _tails(*pairs, scored)


def _tails(
    score: np.ndarray, information: np.ndarray, scored: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """p-value and size of one deviation each, averaged over q by the evidence of the rest."""
    miss = score / information
    square = miss * score
    weights = scored + 0.5 * (square - np.log(information))
    weights -= weights.max(axis=1, keepdims=True)
    np.exp(weights, out=weights)
    total = weights.sum(axis=1)
    tail = 2 * ndtr(-np.sqrt(square))
    return (weights * tail).sum(axis=1) / total, (weights * miss).sum(axis=1) / total


# ---- what caused it ----
class Cause(StrEnum):
    JUMP = "jump"
    BAD_READING = "bad reading"
    EITHER = "jump or bad reading"


class Diagnosis(NamedTuple):
    """The likelier cause of a flagged increment.

    visit: place of the reading that may be bad (0 is the first visit), or of the one before which
    the jump came. why: empty, or why the two causes look alike. gain: log likelihood gained by a
    jump less that by a bad reading; NaN where they look alike.
    """

    cause: Cause
    visit: int
    why: str
    gain: float


def diagnose(histories: Histories, prior: Prior, place: int, increment: int) -> Diagnosis:
    """Jump or single bad reading, for a flagged increment (its row) of the instrument at ``place``.

    A bad reading goes up and back: it pulls this increment one way and its neighbour the other.
    Where the visit was adjusted, or has no increment after it, nothing comes back, and the two look
    alike. Raises NoIncrement where that row has none.
    """
    one = histories.columns(slice(place, place + 1))
    own = _columns(prior, slice(place, place + 1))
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
        return Diagnosis(Cause.BAD_READING, best + 1 - first, "", jump - gains[best])
    if why:
        return Diagnosis(Cause.EITHER, after, why, float("nan"))
    return Diagnosis(Cause.JUMP, after, "", jump - gains[increment])


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
