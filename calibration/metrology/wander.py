"""Steady drift and random walk of a transmitter, estimated together from its increments.

The true error moves as dx = rate dt + √q dW; under some laws the rate itself walks too. A reading
is the true error and an error of its own; where nothing was adjusted, as left *is* as found, so
neighbouring increments share an error. The likelihood of the increments comes exactly from one
pass along the visits (likelihood.py). It is averaged over a few laws, never decided for one of
them: with a handful of visits a choice would be a guess, and the band drawn from it too narrow.
The prior of rate and law comes from the family (families.py) or is a wide default.

Visits run along the first axis, instruments along the last, the laws between; one instrument is a
fleet of one. Errors are in % of span, time in years. No jump is foreseen, nor a change of rate
that none of the laws allows: say so beside each band.
Source: derived for this book; worked by an independent dense calculation in DRF-01 to DRF-04, the
laws of a changing rate in tests/calibration/metrology/dense.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.metrology.bands import Band, mixture_band
from calibration.metrology.blocks import columns_of, concatenate, map_blocks
from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import Histories
from calibration.metrology.likelihood import node_weights, sums
from calibration.metrology.moments import Moments, moments
from plant.level.checks import LARGEST, SMALLEST, BadArgument, limits_size, not_below_zero

Floats = Any
# √q in tolerances per √year. From none to a walk that leaves the tolerance within a year.
NODES = np.array([0.0, 0.03, 0.06, 0.1, 0.15, 0.22, 0.32, 0.46, 0.66, 0.95])
DEFAULT_RATE_SD = 0.5  # tolerances a year, for an instrument without a family
# Laws in which the rate itself changes: √q as above, and √change in tolerances per year^1.5.
CHANGING = np.array([(0.0, 0.08), (0.0, 0.2), (0.1, 0.08), (0.1, 0.2)])
# All laws, those in which it changes last.
WALKS = np.r_[NODES, CHANGING[:, 0]]
CHANGES = np.r_[np.zeros(len(NODES)), CHANGING[:, 1]]
CHANGING_ALONE = 0.2  # their weight together, for an instrument without a family
_FAR = 7.0  # standard deviations, beyond which lies 1e-12


# ---- the prior ----
@dataclass(frozen=True)
class Prior:
    """Rates are normal about ``rate``; each instrument follows one of J laws.

    The last axis is 1 for all, or one place an instrument. rate, spread: % of span a year; spread
    is the standard deviation between instruments. mean_sd: how well ``rate`` itself is known. q:
    process variance of each law; change: variance by which its rate changes in a year, laws with
    any last. weights: of the laws. q, change, weights: J by 1 or J by N. others: instruments that
    it rests on; 0 is the default of one alone. widening: of all that is forecast by it, at least
    1 (fleet_fit.py).
    """

    rate: np.ndarray
    spread: np.ndarray
    mean_sd: np.ndarray
    q: np.ndarray
    weights: np.ndarray
    others: np.ndarray
    change: Any = 0.0
    widening: Any = 1.0

    def __post_init__(self) -> None:
        for name, shape in (("change", self.q.shape), ("widening", np.shape(self.rate))):
            if np.shape(getattr(self, name)) != shape:
                object.__setattr__(self, name, np.broadcast_to(getattr(self, name), shape))

    @property
    def variance(self) -> np.ndarray:
        return self.spread**2 + self.mean_sd**2

    def of(self, family: np.ndarray) -> Prior:
        """One place an instrument, from one place a family and each instrument's family."""
        return Prior(*(columns_of(getattr(self, f.name), family) for f in fields(self)))

    @property
    def of_steady_rate(self) -> Prior:
        """Its laws without those in which the rate changes."""
        still = (self.change <= 0).all(axis=1)
        weights = self.weights[still] / self.weights[still].sum(axis=0)
        return replace(self, q=self.q[still], change=self.change[still], weights=weights)

    def columns(self, part: slice | np.ndarray, n: int) -> Prior:
        """Of some of n instruments; what is one for all stays."""
        values = (getattr(self, f.name) for f in fields(self))
        return Prior(*(columns_of(v, part) if v.shape[-1] == n else v for v in values))


@limits_size("tolerance")
def default_prior(tolerance: ArrayLike, changing: float = CHANGING_ALONE) -> Prior:
    """The wide default for an instrument that has no family; tolerance: half-width, % of span.

    changing: weight of the laws in which the rate changes. Raises CannotFit for a tolerance not
    above zero.
    """
    half = checked_tolerance(tolerance)
    if not 0 <= changing <= 1:
        raise BadArgument("changing", f"{changing} is not between 0 and 1")
    zero = np.zeros_like(half)
    share = np.where(CHANGES > 0, changing / len(CHANGING), (1 - changing) / len(NODES))
    q, change = laws(half)
    weights = np.repeat(share[:, None], half.size, axis=1)
    return Prior(zero, DEFAULT_RATE_SD * half, zero, q, weights, zero.astype(int), change)


def laws(tolerance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """q, and the variance by which the rate changes in a year, of each law (J by N)."""
    return np.outer(WALKS, tolerance) ** 2, np.outer(CHANGES, tolerance) ** 2


def weights_of_all_laws(weights: Sequence[float]) -> np.ndarray:
    """Weights as stored (J); of the steady laws alone where no other was known when they were
    fitted.
    """
    return np.r_[weights, np.zeros(len(WALKS) - len(weights))]


def checked_tolerance(tolerance: ArrayLike) -> np.ndarray:
    half = np.atleast_1d(np.asarray(tolerance, dtype=float))
    if half.ndim != 1 or not ((half >= SMALLEST) & (half <= LARGEST)).all():
        raise CannotFit("tolerance", "it must be a number above zero")
    return half


# ---- what follows from them ----
@dataclass(frozen=True)
class Outlook:
    """Each instrument after its history and its prior. ``weights`` to ``changes``: J by N.

    Under each law: levels, rates: the true error at the last visit and the rate then; their
    variances, and in ``ties`` what they have in common. q, changes: by what variance error and
    rate move in a year. weights[0] is the evidence for pure steady drift. own_weight: how far the
    rate is the instrument's own (0 to 1); the rest, family_weight, is the family's. log_evidence:
    of the whole history. Years ahead are counted from the last visit; they may have leading axes,
    which the answers keep before N.
    """

    weights: np.ndarray
    levels: np.ndarray
    level_variances: np.ndarray
    rates: np.ndarray
    rate_variances: np.ndarray
    ties: np.ndarray
    q: np.ndarray
    changes: np.ndarray
    visits: np.ndarray
    others: np.ndarray
    own_weight: np.ndarray
    log_evidence: np.ndarray

    def __len__(self) -> int:
        return len(self.visits)

    @property
    def family_weight(self) -> np.ndarray:
        return 1 - self.own_weight

    @property
    def borrowed(self) -> np.ndarray:
        """More of the rate is the family's than the instrument's own."""
        return (self.others > 0) & (self.own_weight < 0.5)

    @property
    def changing(self) -> np.ndarray:
        """Probability that the rate itself changes (N)."""
        return np.asarray((self.weights * (self.changes > 0)).sum(axis=0))

    @cached_property
    def moments(self) -> Moments:
        """Of the true error, for all that asks for them."""
        names = [f.name for f in fields(self)][:8]

        def of_block(part: slice) -> Moments:
            return moments(*(getattr(self, name)[:, part] for name in names))

        return concatenate(map_blocks(of_block, len(self)))

    def columns(self, which: Any) -> Outlook:
        some = Outlook(*(columns_of(getattr(self, f.name), which) for f in fields(self)))
        if "moments" in vars(self):
            vars(some)["moments"] = self.moments.columns(which)
        return some

    def parts(self, ahead: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of the true error for each law (…, J, N)."""
        h = np.asarray(ahead, dtype=float)
        if not ((h >= 0) & (h <= LARGEST)).all():
            raise CannotFit("ahead", "years ahead must be numbers not below zero")
        h = h[..., None, :] if h.ndim else h
        growth = self.q + 2 * self.ties + h * (self.rate_variances + h * self.changes / 3)
        return self.levels + self.rates * h, self.level_variances + h * growth

    @limits_size("ahead", "u_next")
    def next_as_found(self, ahead: ArrayLike, u_next: ArrayLike, confidence: float = 0.95) -> Band:
        """Band in which the next as found lies, read with standard uncertainty u_next."""
        means, variances = self.parts(ahead)
        u = not_below_zero("u_next", u_next)
        return mixture_band(self.weights, means, variances + np.square(u), confidence)

    def rate(self, confidence: float = 0.95) -> Band:
        """Rate with its interval, % of span a year."""
        return mixture_band(self.weights, self.rates, self.rate_variances, confidence)

    @limits_size("ahead", "tolerance", "u_next")
    def probability_in(
        self, ahead: ArrayLike, tolerance: ArrayLike, u_next: ArrayLike = 0.0
    ) -> np.ndarray:
        """Probability that the next as found lies within ± tolerance.

        u_next: standard uncertainty of that reading; 0 gives the true error itself. Raises
        CannotFit for years below zero, or a tolerance not above zero.
        """
        means, variances = self.parts(ahead)
        sd = np.sqrt(variances + np.square(not_below_zero("u_next", u_next)))
        half = checked_tolerance(tolerance)
        means = np.abs(means)
        inside = ndtr((half - means) / sd)
        far = (half + means) / sd
        there = far < _FAR
        inside[there] -= ndtr(-far[there])
        return (self.weights * inside).sum(axis=-2)


def outlook(histories: Histories, prior: Prior) -> Outlook:
    """Judge each history with its prior (one for all, or one place an instrument: Prior.of)."""
    n = len(histories)
    return concatenate(
        map_blocks(lambda part: _outlook(histories.columns(part), prior.columns(part, n)), n)
    )


def _outlook(histories: Histories, prior: Prior) -> Outlook:
    likelihood = sums(histories, prior.q, prior.change)
    w, log_total = node_weights(likelihood.log_evidence(prior.rate, prior.variance), prior.weights)
    one = 1 + prior.variance * likelihood.a
    # The rate at the first visit, and what has become of it.
    first, first_variance = (prior.rate + prior.variance * likelihood.b) / one, prior.variance / one
    carried, wider = likelihood.carried, prior.widening**2
    kept = 1 - carried.change_years
    moved = kept * first_variance
    rate_variances = kept * moved + carried.change_variance
    own_error = histories.level_variance - carried.variance
    return Outlook(
        weights=w,
        levels=histories.level - carried.level + first * carried.years,
        level_variances=wider * (own_error + carried.years**2 * first_variance),
        rates=first * kept + carried.change,
        rate_variances=wider * rate_variances,
        ties=wider * (carried.years * moved + carried.tie),
        q=np.broadcast_to(wider * prior.q, w.shape),
        changes=np.broadcast_to(wider * prior.change, w.shape),
        visits=histories.visits,
        others=np.broadcast_to(prior.others, histories.level.shape),
        own_weight=(w * _learned(histories, prior, rate_variances)).sum(axis=0),
        log_evidence=log_total - 0.5 * histories.counted.sum(axis=0) * math.log(2 * math.pi),
    )


def _learned(histories: Histories, prior: Prior, rate_variances: np.ndarray) -> np.ndarray:
    """How far the rate at the last visit is known from the history, 0 to 1, under each law."""
    before = prior.variance + prior.change * histories.years.sum(axis=0)
    return 1 - rate_variances / np.maximum(before, 1e-300) - (before == 0)
