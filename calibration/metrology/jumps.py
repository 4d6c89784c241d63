"""Jumps and single bad readings in a history: which increment stands out.

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
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.metrology.blocks import map_blocks
from calibration.metrology.families import FEWEST_OTHERS, fit_families
from calibration.metrology.histories import Histories
from calibration.metrology.residuals import residuals
from calibration.metrology.wander import Prior
from plant.level.checks import limits_size

FLAG_BELOW = 0.025  # adjusted p-value: the smallest of a history times the number of increments
SUSPECT_BELOW = 0.3
LIKELY_BELOW = 0.6
FEWEST_VISITS = 5
PAIR_PENALTY = 4.0
_BLOCK = 1024
# An increment within so many standard deviations, at that quantile of the family's walks, is never
# flagged.
_UNUSUAL, _LITTLE = 1.8, 0.25


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


class Fits(NamedTuple):
    """Families fitted to all increments, and without the suspicious ones; a place a family."""

    whole: Prior
    calm: Prior


@limits_size("tolerance")
def fit_without_jumps(histories: Histories, family: ArrayLike, tolerance: ArrayLike) -> Fits:
    """Families fitted to all increments, and without those suspicious under the fit.

    Nothing is set aside of a history in which nothing can be flagged: there is nobody to ask, and
    what is merely large would be missing from the family's scatter. Arguments and errors as in
    fit_families.
    """
    member = np.asarray(family)
    aside = np.zeros_like(histories.counted)
    prior = whole = fit_families(histories, member, tolerance)
    likely = sure = _sure(histories, prior.of(member))
    if not sure.any():
        return Fits(whole, whole)
    for below in (SUSPECT_BELOW, SUSPECT_BELOW, *4 * (FLAG_BELOW,)):
        # Whom chance explains well under one fit it explains under the next, which differs little.
        least = _least_likely(histories, prior.of(member), likely, below)
        likely = sure & (least.p_value < LIKELY_BELOW)
        suspects = least.aside(sure & (least.p_value < below))
        if below == FLAG_BELOW and (suspects == aside).all():
            break
        aside = suspects
        prior = fit_families(histories.without(aside), member, tolerance, start=prior)
    return Fits(whole, prior)


def flag_jumps(histories: Histories, prior: Prior) -> Jumps:
    """Flag at most one increment a history, each judged by its prior (one place an instrument)."""
    least = _least_likely(histories, prior, np.ones(len(histories), dtype=bool), FLAG_BELOW)
    sure = _sure(histories, prior)
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


def _sure(histories: Histories, prior: Prior) -> np.ndarray:
    """Histories long enough, in families large enough, for a flag (N)."""
    return (histories.visits >= FEWEST_VISITS) & (prior.others >= FEWEST_OTHERS)


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


def _least_likely(
    histories: Histories, prior: Prior, among: np.ndarray, below: float
) -> LeastLikely:
    """Of each history; ``among`` says which are looked at closely.

    First as if rates stood still, which is quick. Only what that finds unlikely is judged again
    under the laws in which a rate changes.
    """
    steady = prior.of_steady_rate
    first = _judged(histories, steady, np.flatnonzero(among & _unusual(histories, steady)))
    again = np.flatnonzero(first.p_value < below)
    if not again.size or not prior.weights[len(steady.q) :].any():
        return first
    second = _judged(histories, prior, again)
    put = np.zeros(len(histories), dtype=bool)
    put[again] = True
    return LeastLikely(*(np.where(put, new, old) for new, old in zip(second, first, strict=True)))


def _judged(histories: Histories, prior: Prior, suspects: np.ndarray) -> LeastLikely:
    single, size, pair, pair_size = _p_values(histories, prior, suspects)
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


def _p_values(histories: Histories, prior: Prior, suspects: np.ndarray) -> tuple[np.ndarray, ...]:
    """p-value and size of single increments and of pairs, K by N; suspects: whose.

    1 and 0 for all others.
    """
    shape = histories.increments.shape
    single, size = np.ones(shape), np.zeros(shape)
    pair, pair_size = np.ones(shape), np.zeros(shape)

    def test(part: slice) -> None:
        at = suspects[part]
        results = _deleted(histories.columns(at), prior.columns(at, len(histories)))
        (single[:, at], size[:, at]), (pair[:-1, at], pair_size[:-1, at]) = results

    map_blocks(test, len(suspects), _BLOCK)
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


def _deleted(
    histories: Histories, prior: Prior
) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Two-sided p-value of each increment given all others, and its size (K by N).

    And the same of a deviation that goes into an increment and out of the next (K − 1 by N).
    """
    u, p, between, evidence = residuals(histories, prior)
    with np.errstate(divide="ignore"):  # a law without weight
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
