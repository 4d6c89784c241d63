"""Steps and single bad readings in a history: which increment does not go with the others, and what it may be.

Each increment is held against all others of its history under every q (deleted residual), and flagged where chance
would hardly make it. A step hides itself by looking like a walk: so the family is first fitted without the increments
that are merely suspicious. Nothing is ever dropped: a flag asks for a cause, and until one is given a fresh level
begins after the increment while the rate goes on.
Source: derived for this book; shares of right and false flags by simulation (tests/bench/coverage.py).
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

FLAG_BELOW = 0.04  # smallest p-value times the number of increments
SUSPECT_BELOW = 0.3
LIKELY_BELOW = 0.6
FEWEST_VISITS = 5
PAIR_PENALTY = 4.0
_BLOCK = 1024
# An increment within so many standard deviations, at that quantile of the family's walks, is never flagged.
_UNUSUAL, _LITTLE = 1.8, 0.25
_LOG_EVERY = 8  # determinants are multiplied this many at a time before their logarithm is taken
_TINY = 1e-300


@dataclass(frozen=True)
class Steps:
    """flagged, hinted: K by N, at most one a history. A hint is what would be a flag if there were at least
    FEWEST_VISITS visits and a family behind it.

    A flag may also mean a single bad reading that hides itself: ``returns`` marks it, where this increment and the next
    undo each other. chance: N, smallest p-value times the number of what was tried. size: K by N, by how much the
    increment differs from what all others let expect, % of span. prior: fitted without the flagged increments, one
    place an instrument. kept: the histories with the flagged increments set aside, of a bad reading both.
    """

    flagged: np.ndarray
    hinted: np.ndarray
    returns: np.ndarray
    chance: np.ndarray
    size: np.ndarray
    prior: Prior
    kept: Histories


def find_steps(told: Histories, family: ArrayLike, tolerance: ArrayLike) -> Steps:
    """Flag at most one increment a history; arguments and refusals as in fit_families."""
    member = np.asarray(family)
    return flag(told, fit_without_steps(told, member, tolerance).of(member))


def fit_without_steps(told: Histories, family: ArrayLike, tolerance: ArrayLike) -> Prior:
    """Families fitted without the increments that are suspicious under the fit; one place a family."""
    member = np.asarray(family)
    aside = np.zeros_like(told.counted)
    fitted = fit_families(told, member, tolerance)
    likely = np.ones(len(told), dtype=bool)
    for below in (SUSPECT_BELOW, SUSPECT_BELOW, *4 * (FLAG_BELOW,)):
        # Whom chance explains well under one fit it explains under the next, which differs little.
        worst = _worst(told, fitted.of(member), likely)
        likely = worst.chance < LIKELY_BELOW
        found = worst.aside(worst.chance < below)
        if below == FLAG_BELOW and (found == aside).all():
            break
        aside = found
        fitted = fit_families(told.without(aside), member, tolerance, start=fitted)
    return fitted


def flag(told: Histories, prior: Prior) -> Steps:
    """Flag at most one increment a history, each judged by its prior (one place an instrument)."""
    worst = _worst(told, prior, np.ones(len(told), dtype=bool))
    sure = (told.visits >= FEWEST_VISITS) & (prior.others >= FEWEST_OTHERS)
    found = worst.chance < FLAG_BELOW
    return Steps(
        worst.at & (found & sure), worst.at & (found & ~sure), worst.at & worst.is_pair,
        worst.chance, worst.size, prior, told.without(worst.aside(found & sure)),
    )  # fmt: skip


class Worst(NamedTuple):
    """at: K by N, the least likely increment of each history, or the first of the least likely pair.

    is_pair, chance: N. size: K by N.
    """

    at: np.ndarray
    is_pair: np.ndarray
    chance: np.ndarray
    size: np.ndarray

    def aside(self, which: np.ndarray) -> np.ndarray:
        """The increments to be set aside in these histories (N): of a pair both."""
        marks = self.at & which
        marks[1:] |= marks[:-1] & self.is_pair
        return np.asarray(marks)


class Residuals(NamedTuple):
    """V⁻¹ (d − rate dt) and of V⁻¹ the diagonal and what stands beside it (K, K and K − 1 by J by N), where V is the
    covariance of the increments under one q with the spread of the rate within; and the logarithm of the evidence for
    each q (J by N), but for a constant."""

    pull: np.ndarray
    own: np.ndarray
    between: np.ndarray
    evidence: np.ndarray


def residuals(told: Histories, prior: Prior) -> Residuals:
    """V is tridiagonal but for one product, so two passes along the visits give all that is asked of its inverse."""
    spread = prior.variance
    off = told.increments - prior.rate * told.years
    d = told.variance[:, None, :] + prior.q * told.years[:, None, :]
    k, shape = len(d), d.shape
    by, carry = (
        np.empty(shape),
        np.empty(shape),
    )  # 1 / pivot, and what is handed on of the one before
    pull, along = np.empty(shape), np.empty(shape)  # become T⁻¹ off and T⁻¹ dt
    product, log_det = np.ones(shape[1:]), np.zeros(shape[1:])
    for i in range(k):
        pull[i], along[i] = off[i], told.years[i]
        pivot = d[i]
        if i:
            pivot = pivot - told.shared[i - 1] * carry[i - 1]
            pull[i] += carry[i - 1] * pull[i - 1]
            along[i] += carry[i - 1] * along[i - 1]
        by[i] = 1 / pivot
        carry[i] = told.shared[i] * by[i]
        product *= pivot
        if i % _LOG_EVERY == _LOG_EVERY - 1:
            log_det += np.log(product)
            product.fill(1.0)
    log_det += np.log(product)
    own, between = np.empty(shape), np.empty((k - 1, *shape[1:]))
    for i in reversed(range(k)):
        pull[i] *= by[i]
        along[i] *= by[i]
        own[i] = by[i]
        if i < k - 1:
            pull[i] += carry[i] * pull[i + 1]
            along[i] += carry[i] * along[i + 1]
            between[i] = carry[i] * own[i + 1]
            own[i] += carry[i] * between[i]
    a, b, c = (
        np.einsum("kjn,kn->jn", x, y)
        for x, y in ((along, told.years), (pull, told.years), (pull, off))
    )
    share = spread / (1 + spread * a)
    evidence = -0.5 * (log_det + np.log1p(spread * a) + c - share * b * b)
    pull -= share * b * along
    own -= share * along * along
    between -= share * along[:-1] * along[1:]
    return Residuals(pull, own, between, evidence)


def _worst(told: Histories, prior: Prior, among: np.ndarray) -> Worst:
    k, n = told.increments.shape
    chance, size = np.ones((k, n)), np.zeros((k, n))
    pair, pair_size = np.ones((k, n)), np.zeros((k, n))
    suspects = np.flatnonzero(among & _suspicious(told, prior))

    def look(part: slice) -> None:
        at = suspects[part]
        some, own = told.columns(at), _columns(prior, at)
        (chance[:, at], size[:, at]), (pair[:-1, at], pair_size[:-1, at]) = _deleted(some, own)

    by_blocks(look, len(suspects), _BLOCK)
    chance = np.where(told.counted, chance, 1.0)
    back = _undone(told)
    pair = np.where(back, pair, 1.0)
    single = chance.min(axis=0) * told.counted.sum(axis=0)
    # A bad reading is rarer than a step is asked about: it must be four times as unlikely.
    tried = back.sum(axis=0)
    double = np.where(tried > 0, PAIR_PENALTY * pair.min(axis=0) * tried, np.inf)
    is_pair = double < single
    place = np.where(is_pair, pair.argmin(axis=0), chance.argmin(axis=0))
    worst = np.zeros((k, n), dtype=bool)
    worst[place, np.arange(n)] = True
    sizes = np.where(worst & is_pair, pair_size, size)
    return Worst(worst & told.counted, is_pair, np.where(is_pair, double, single), sizes)


def _undone(told: Histories) -> np.ndarray:
    """Increments whose visit's reading also begins the next one: a bad reading there goes up and back (K by N)."""
    back = np.zeros_like(told.counted)
    back[:-1] = told.counted[:-1] & told.counted[1:] & ~told.adjusted[:-1]
    return back


def _suspicious(told: Histories, prior: Prior) -> np.ndarray:
    """Where an increment strays from the history's own mean rate by more than reading errors and little walk allow."""
    little = (prior.weights.cumsum(axis=0) < _LITTLE).sum(axis=0)
    q = np.take_along_axis(prior.q, np.minimum(little, len(prior.q) - 1)[None, :], axis=0)
    years = told.years.sum(axis=0)
    rate = told.increments.sum(axis=0) / np.where(years > 0, years, 1.0)
    off = told.increments - rate * told.years
    unusual = off * off > _UNUSUAL**2 * (told.variance + q * told.years)
    return np.asarray((told.counted & unusual).any(axis=0))


def _columns(prior: Prior, part: slice | np.ndarray) -> Prior:
    wide = prior.rate.shape[-1] > 1
    return prior.of(part) if wide else prior  # type: ignore[arg-type]


def _deleted(
    told: Histories, prior: Prior
) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Two-sided tail of each increment given all others, and how far it lies from what they let expect (K by N).

    And the same of a deviation that goes into an increment and out of the next (K − 1 by N).
    """
    u, p, between, evidence = residuals(told, prior)
    scored = evidence + np.log(prior.weights)
    pairs = u[:-1] - u[1:], p[:-1] + p[1:] - 2 * between
    return _tails(u, p, scored), _tails(*pairs, scored)


def _tails(
    score: np.ndarray, information: np.ndarray, scored: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Of deviations in one direction each, given the rest; averaged over q by the evidence of the rest."""
    miss = score / information
    square = miss * score
    weights = scored + 0.5 * (square - np.log(information))
    weights -= weights.max(axis=1, keepdims=True)
    np.exp(weights, out=weights)
    total = weights.sum(axis=1)
    tail = 2 * ndtr(-np.sqrt(square))
    return (weights * tail).sum(axis=1) / total, (weights * miss).sum(axis=1) / total


# ---- what it may be ----
class Kind(StrEnum):
    STEP = "step"
    BAD_READING = "bad reading"
    EITHER = "step or bad reading"


class Guess(NamedTuple):
    """kind; visit: the place of the reading that may be bad (0 is the first visit), or the one before which the step
    came. why: empty, or why the two cannot be told apart. gain: log likelihood gained by a step less that by a bad
    reading; NaN where they cannot be told apart."""

    kind: Kind
    visit: int
    why: str
    gain: float


def guess_kind(told: Histories, prior: Prior, place: int, increment: int) -> Guess:
    """Step or single bad reading, for a flagged increment (its row) of the instrument at ``place``.

    A bad reading goes up and back: it pulls this increment one way and its neighbour the other. Where the visit was
    adjusted, or has no increment after it, nothing comes back, and the two look alike.
    """
    one = told.columns(slice(place, place + 1))
    own = _columns(prior, slice(place, place + 1))
    if not one.counted[increment, 0]:
        raise ValueError(f"increment: there is none at {increment}")
    u, p, between, _ = (part[..., 0] for part in residuals(one, own))
    weights = outlook(one, own).weights[:, 0]
    first = len(one.increments) - int(one.visits[0]) + 1  # row of the first increment
    step = _gain(u[increment] ** 2, p[increment], weights)
    pairs = [k for k in (increment, increment - 1) if _comes_back(one, k)]
    gains = {k: _pair_gain(u, p, between, k, weights) for k in pairs}
    after = increment + 1 - first
    why = _why_not(one, increment)
    best = max(gains, key=gains.__getitem__) if gains else None
    if best is not None and gains[best] > step:
        return Guess(Kind.BAD_READING, best + 1 - first, "", step - gains[best])
    if why:
        return Guess(Kind.EITHER, after, why, float("nan"))
    return Guess(Kind.STEP, after, "", step - gains[increment])


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
