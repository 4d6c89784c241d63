"""Steady drift and random walk of a transmitter, estimated together from its increments.

The true error moves as dx = rate dt + √q dW. A reading is the true error and an error of its own;
where nothing was adjusted, as left *is* as found, so neighbouring increments share an error, and
only neighbours do. The likelihood of the increments is therefore that of a tridiagonal covariance,
which one pass along the visits gives exactly. It is averaged over a few values of q, never decided
for one of them: with a handful of visits a choice would be a guess, and the band drawn from it too
narrow. The prior of rate and q comes from the family (families.py) or is a wide default.

Visits run along the first axis, instruments along the last, the values of q between; one
instrument is a fleet of one. Errors are in % of span, time in years. No jump is foreseen: say so
beside each band.
Source: derived for this book; worked by an independent dense calculation in DRF-01 to DRF-04.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtrit

from calibration.metrology.blocks import concatenate, map_blocks
from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import Histories
from plant.level.checks import BadArgument

Floats = Any
# √q in tolerances per √year. From none to a walk that leaves the tolerance within a year.
NODES = np.array([0.0, 0.03, 0.06, 0.1, 0.15, 0.22, 0.32, 0.46, 0.66, 0.95])
DEFAULT_RATE_SD = 0.5  # tolerances a year, for an instrument without a family
_LOG_EVERY = 8  # determinants are multiplied this many at a time before their logarithm is taken


# ---- the prior ----
@dataclass(frozen=True)
class Prior:
    """Rates are normal about ``rate``; q takes one of J values.

    The last axis is 1 for all, or one place an instrument. rate, spread: % of span a year; spread
    is the standard deviation between instruments. mean_sd: how well ``rate`` itself is known. q,
    weights: J by 1 or J by N. others: instruments that it rests on; 0 is the default of one alone.
    """

    rate: np.ndarray
    spread: np.ndarray
    mean_sd: np.ndarray
    q: np.ndarray
    weights: np.ndarray
    others: np.ndarray

    @property
    def variance(self) -> np.ndarray:
        return self.spread**2 + self.mean_sd**2

    def of(self, family: np.ndarray) -> Prior:
        """One place an instrument, from one place a family and each instrument's family."""
        return Prior(*(getattr(self, f.name)[..., family] for f in fields(self)))

    def columns(self, part: slice | np.ndarray, n: int) -> Prior:
        """Of some of n instruments; what is one for all stays."""
        values = (getattr(self, f.name) for f in fields(self))
        return Prior(*(v[..., part] if v.shape[-1] == n else v for v in values))


def default_prior(tolerance: ArrayLike) -> Prior:
    """The wide default for an instrument that has no family; tolerance: half-width, % of span.

    Raises CannotFit for a tolerance not above zero.
    """
    half = checked_tolerance(tolerance)
    zero = np.zeros_like(half)
    flat = np.full((NODES.size, 1), 1 / NODES.size)
    return Prior(
        zero, DEFAULT_RATE_SD * half, zero, np.outer(NODES, half) ** 2, flat, zero.astype(int)
    )


def checked_tolerance(tolerance: ArrayLike) -> np.ndarray:
    half = np.atleast_1d(np.asarray(tolerance, dtype=float))
    if half.ndim != 1 or not (np.isfinite(half) & (half > 0)).all():
        raise CannotFit("tolerance", "it must be a number above zero")
    return half


# ---- the likelihood ----
class Sums(NamedTuple):
    """Sums of the likelihood for each q (J by N), and what is carried to the future."""

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    log_det: np.ndarray
    carry_level: np.ndarray
    carry_years: np.ndarray
    carry_variance: np.ndarray

    def log_evidence(self, rate: Floats, variance: Floats) -> np.ndarray:
        """Of each q, but for K ln 2π / 2, which is the same for all."""
        one = 1 + variance * self.a
        off = self.b - rate * self.a
        square = self.c - rate * (self.b + off) - variance * off * off / one
        return -0.5 * (self.log_det + np.log(one) + square)


def sums(histories: Histories, q: np.ndarray) -> Sums:
    """Pass along the visits once, eliminating each increment from the next; q: J by 1 or J by N."""
    shape = (q.shape[0], len(histories))
    a, b, c, log_det, level, past, less = (np.zeros(shape) for _ in range(7))
    product = np.ones(shape)
    for k in range(len(histories.increments)):
        d = q * histories.years[k]
        d += histories.variance[k] - less
        level += histories.increments[k]
        past += histories.years[k]
        by = 1 / d
        level_by, past_by = level * by, past * by
        a += past * past_by
        b += past * level_by
        c += level * level_by
        product *= d
        if k % _LOG_EVERY == _LOG_EVERY - 1:
            log_det += np.log(product)
            product.fill(1.0)
        on = histories.shared[k]
        level, past, less = on * level_by, on * past_by, on * on * by
    log_det += np.log(product)
    return Sums(a, b, c, log_det, level, past, less)


def node_weights(log_evidence: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weight of each q after the data, and the logarithm of what was divided by."""
    with np.errstate(divide="ignore"):
        score = log_evidence + np.log(weights)
    top = score.max(axis=0)
    w = np.exp(score - top)
    total = w.sum(axis=0)
    return w / total, top + np.log(total)


# ---- what follows from them ----
class Band(NamedTuple):
    """Centre, standard deviation and band of the mixture over q; one place an instrument."""

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
    centre = (weights * means).sum(axis=-2)
    off2 = (means - centre[..., None, :]) ** 2
    v = (weights * (variances + off2)).sum(axis=-2)
    fourth = (weights * (3 * variances**2 + 6 * variances * off2 + off2**2)).sum(axis=-2)
    excess = fourth / v**2 - 3
    heavy = excess >= 1e-3
    dof = np.where(heavy, 4 + 6 / np.where(heavy, excess, 1.0), np.inf)
    shrink = np.sqrt(np.where(heavy, 1 - 2 / dof, 1.0))
    factor = stdtrit(np.where(heavy, dof, 1e12), 0.5 + confidence / 2) * shrink
    sd = np.sqrt(v)
    return Band(centre, sd, excess, dof, factor, centre - factor * sd, centre + factor * sd)


@dataclass(frozen=True)
class Outlook:
    """Each instrument after its history and its prior. ``weights`` to ``rate_variances``: J by N.

    weights[0] is the evidence for pure steady drift. own_weight: how far the rate is the
    instrument's own (0 to 1); the rest, family_weight, is the family's. log_evidence: of the whole
    history. Years ahead are counted from the last visit; they may have leading axes, which the
    answers keep before N.
    """

    weights: np.ndarray
    rates: np.ndarray
    rate_variances: np.ndarray
    q: np.ndarray
    carried: Sums
    level: np.ndarray
    level_variance: np.ndarray
    visits: np.ndarray
    others: np.ndarray
    own_weight: np.ndarray
    log_evidence: np.ndarray

    def __len__(self) -> int:
        return len(self.level)

    @property
    def family_weight(self) -> np.ndarray:
        return 1 - self.own_weight

    @property
    def borrowed(self) -> np.ndarray:
        """More of the rate is the family's than the instrument's own."""
        return (self.others > 0) & (self.own_weight < 0.5)

    def columns(self, which: Any) -> Outlook:
        rest = {
            f.name: getattr(self, f.name) for f in fields(self) if f.name not in ("carried", "q")
        }
        cut = {name: value[..., which] for name, value in rest.items()}
        return Outlook(
            **cut, q=self.q[..., which], carried=Sums(*(c[..., which] for c in self.carried))
        )

    def parts(self, ahead: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of the true error for each q (…, J, N)."""
        h = np.asarray(ahead, dtype=float)
        if not (h >= 0).all():
            raise CannotFit("ahead", "years ahead must be numbers not below zero")
        h = h[..., None, :] if h.ndim else h
        g = h + self.carried.carry_years
        means = self.level - self.carried.carry_level + self.rates * g
        variances = self.level_variance - self.carried.carry_variance + self.q * h
        return means, variances + g * g * self.rate_variances

    def next_as_found(self, ahead: ArrayLike, u_next: ArrayLike, confidence: float = 0.95) -> Band:
        """Band in which the next as found lies, read with standard uncertainty u_next."""
        means, variances = self.parts(ahead)
        return mixture_band(self.weights, means, variances + np.square(u_next), confidence)

    def rate(self, confidence: float = 0.95) -> Band:
        """Rate with its interval, % of span a year."""
        return mixture_band(self.weights, self.rates, self.rate_variances, confidence)

    def probability_in(
        self, ahead: ArrayLike, tolerance: ArrayLike, u_next: ArrayLike = 0.0
    ) -> np.ndarray:
        """Probability that the next as found lies within ± tolerance.

        u_next: standard uncertainty of that reading; 0 gives the true error itself. Raises
        CannotFit for years below zero, or a tolerance not above zero.
        """
        means, variances = self.parts(ahead)
        sd = np.sqrt(variances + np.square(u_next))
        half = checked_tolerance(tolerance)
        inside = ndtr((half - means) / sd) - ndtr((-half - means) / sd)
        return (self.weights * inside).sum(axis=-2)


def outlook(histories: Histories, prior: Prior) -> Outlook:
    """Judge each history with its prior (one for all, or one place an instrument: Prior.of)."""
    n = len(histories)
    return concatenate(
        map_blocks(lambda part: _outlook(histories.columns(part), prior.columns(part, n)), n)
    )


def _outlook(histories: Histories, prior: Prior) -> Outlook:
    likelihood = sums(histories, prior.q)
    variance = prior.variance
    w, log_total = node_weights(likelihood.log_evidence(prior.rate, variance), prior.weights)
    one = 1 + variance * likelihood.a
    own = (w * (variance * likelihood.a / one)).sum(axis=0)
    return Outlook(
        weights=w,
        rates=(prior.rate + variance * likelihood.b) / one,
        rate_variances=variance / one,
        q=np.broadcast_to(prior.q, w.shape),
        carried=likelihood,
        level=histories.level,
        level_variance=histories.level_variance,
        visits=histories.visits,
        others=np.broadcast_to(prior.others, histories.level.shape),
        own_weight=own,
        log_evidence=log_total - 0.5 * histories.counted.sum(axis=0) * math.log(2 * math.pi),
    )
