"""How long a family stays in tolerance, from pass and fail at visits alone.

The moment at which an instrument went out is never observed: a fail says "since the last visit in
tolerance", a pass "not yet". Adjustment renews; a pass without adjustment does not. Limits are by
the full profile likelihood (for each value of the quantity, the best of all others), widened by
the design effect, since visits of one instrument go together. Where readings exist, the drift rule
of intervals.py knows far more from fewer visits.
Source: maximum likelihood for interval-censored times (textbook; checked by INT-04 and INT-05);
the smallest samples and the design effect by simulation for this book.

How often one-sided 95 % limits hold, of 1,000 simulated families each
(tests/bench/reliability.py): a constant rate 94 to 96 % from 120 to 1,800 results; Weibull of
shape 3, 92 % from 150 results, 95 % from 600. Where times of one instrument go together, those
that fail are seen more often, so R is judged low: lower limits 95 to 98 %, upper ones 78 to 87 %,
but no interval is chosen by an upper one. The delta method on ln(−ln R) was right about as often,
94 to 97 %; one region serves rate, interval and band alike, so that the band meets the target at
the limits of the interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize_scalar
from scipy.special import ndtri

from calibration.metrology.drift import CannotFit
from calibration.metrology.interval_likelihood import IntervalLikelihood
from calibration.metrology.shares import Limits
from calibration.metrology.visit_results import Results, design_effect
from plant.level.checks import BadArgument, above_zero, not_below_zero, share

FEWEST_RESULTS, FEWEST_FAILURES = 20, 1
FEWEST_RESULTS_WEIBULL, FEWEST_FAILURES_WEIBULL, LENGTH_RATIO = 60, 10, 1.5
_SHAPES = (0.05, 20.0)
_EDGE = 48  # curves along each side of the edge of the confidence region


# ---- fits ----
@dataclass(frozen=True, eq=False)
class ReliabilityFit:
    """R(t) = exp(−(t / scale)^shape), t in years since renewal; shape 1 is the exponential.

    rate: scale^−shape, what is lost of ln R by the first year. edge: (2, k) logarithms of rate
    and shape of curves all round the edge of the confidence region; what any limit is read from.
    Limits are two-sided at ``confidence``, design
    effect included: at 0.90 either of them is a one-sided 95 % limit.
    """

    scale: float
    shape: float
    log_likelihood: float
    results: int
    failures: int
    design_effect: float
    confidence: float
    edge: np.ndarray = field(repr=False)

    @property
    def rate(self) -> float:
        return float(self.scale**-self.shape)

    @property
    def is_weibull(self) -> bool:
        return self.edge.shape[1] > 2

    @property
    def rate_limits(self) -> Limits:
        return Limits(*(math.exp(end[0]) for end in _ends(self.edge[:1])))

    @property
    def shape_limits(self) -> Limits:
        return Limits(math.exp(self.edge[1].min()), math.exp(self.edge[1].max()))

    def reliability(self, years: ArrayLike) -> np.ndarray:
        """R at each time. Raises BadArgument for years below zero."""
        with np.errstate(over="ignore"):
            return np.exp(-((not_below_zero("years", years) / self.scale) ** self.shape))

    def band(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper limit of R at each time (n,), years above 0.

        Pointwise, not for the curve as a whole. Raises BadArgument for years not above zero.
        """
        at = np.log(above_zero("years", years).ravel())[:, None]
        low, high = _ends(self.edge[0] + np.exp(self.edge[1]) * at)
        with np.errstate(over="ignore"):
            return np.exp(-np.exp(high)), np.exp(-np.exp(low))

    def interval(self, target: float) -> float:
        """Years until reliability falls to the target."""
        share("target", target)
        return float(self.scale * (-math.log(target)) ** (1 / self.shape))

    def interval_limits(self, target: float) -> Limits:
        """Limits of those years: where the band meets the target."""
        share("target", target)
        logs = (math.log(-math.log(target)) - self.edge[0]) / np.exp(self.edge[1])
        return Limits(*(math.exp(end[0]) for end in _ends(logs[None, :])))


def _ends(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Smallest and largest along a closed edge (n, k), by a parabola through three neighbours."""
    if values.shape[1] <= 2:
        return values.min(axis=1), values.max(axis=1)
    return -_peak(-values), _peak(values)


def _peak(values: np.ndarray) -> np.ndarray:
    rows, at = np.arange(len(values)), values.argmax(axis=1)
    top = values[rows, at]
    before, after = values[rows, at - 1], values[rows, (at + 1) % values.shape[1]]
    bend = before - 2 * top + after
    return top - np.where(bend < 0, (before - after) ** 2 / np.where(bend < 0, 8 * bend, 1.0), 0.0)


def fit_exponential(results: Results, *, confidence: float = 0.95) -> ReliabilityFit:
    """A constant rate of going out of tolerance.

    Raises CannotFit for fewer than 20 results or no failure: see rate_limit.
    """
    share("confidence", confidence)
    if len(results) < FEWEST_RESULTS:
        raise CannotFit("results", f"{len(results)} results; {FEWEST_RESULTS} are needed")
    if results.failures < FEWEST_FAILURES:
        raise CannotFit("results", "nothing was out of tolerance: only a limit can be given")
    effect = design_effect(results)
    passed = IntervalLikelihood.of(results, np.ones(1))
    log_rate, best = passed.best()
    ends = passed.where_it_drops(log_rate, float(best[0]) - _drop(effect, confidence))
    edge = np.array([[float(ends[0][0]), float(ends[1][0])], [0.0, 0.0]])
    return ReliabilityFit(
        math.exp(-log_rate[0]),
        1.0,
        float(best[0]),
        len(results),
        results.failures,
        effect,
        confidence,
        edge,
    )


def fit_weibull(results: Results, *, confidence: float = 0.95) -> ReliabilityFit:
    """A rate of going out that rises (shape above 1) or falls with time since renewal.

    Raises CannotFit for fewer than 60 results or 10 failures, or interval lengths that hardly
    differ: then any shape fits as well; and where no shape from 0.05 to 20 fits best.
    """
    share("confidence", confidence)
    _refuse_weibull(results)
    effect = design_effect(results)

    def profile(log_shape: float) -> float:
        return float(IntervalLikelihood.of(results, np.exp([log_shape])).best()[1][0])

    grid = np.linspace(math.log(_SHAPES[0]), math.log(_SHAPES[1]), 25)
    peak = float(grid[np.argmax(IntervalLikelihood.of(results, np.exp(grid)).best()[1])])
    step = float(grid[1] - grid[0])
    around = (peak - step, peak, peak + step)
    _refuse_edge(*(profile(at) for at in around))
    peak_of = minimize_scalar(lambda x: -profile(x), around, method="brent", tol=1e-9)
    log_shape, best = float(peak_of.x), float(-peak_of.fun)
    log_rate = float(IntervalLikelihood.of(results, np.exp([log_shape])).best()[0][0])
    floor = best - _drop(effect, confidence)
    lowest, highest = (
        _shape_limit(lambda x: profile(x) - floor, log_shape, end) for end in (grid[0], grid[-1])
    )
    edge = _edge(results, lowest, highest, floor)
    shape = math.exp(log_shape)
    return ReliabilityFit(
        math.exp(-log_rate / shape),
        shape,
        best,
        len(results),
        results.failures,
        effect,
        confidence,
        edge,
    )


def _refuse_weibull(results: Results) -> None:
    if len(results) < FEWEST_RESULTS_WEIBULL or results.failures < FEWEST_FAILURES_WEIBULL:
        raise CannotFit(
            "results",
            f"{len(results)} results with {results.failures} out; a Weibull curve needs "
            f"{FEWEST_RESULTS_WEIBULL} with {FEWEST_FAILURES_WEIBULL}",
        )
    if results.end.max() < LENGTH_RATIO * results.end.min():
        raise CannotFit(
            "results", "all visits came after about the same time, so no shape can be fitted"
        )


def _refuse_edge(before: float, peak: float, after: float) -> None:
    """Likelihoods of the best shape of the grid and of those beside it."""
    if before < peak > after:
        return
    way, why = (
        ("more steeply", "all went out at about the same time")
        if after >= peak
        else ("more gently", "some went out at once, and the rest hardly ever")
    )
    raise CannotFit(
        "results",
        f"reliability falls {way} than any Weibull curve of shape {_SHAPES[0]:g} to {_SHAPES[1]:g}:"
        f" {why}; fit a constant rate",
    )


def _drop(effect: float, confidence: float) -> float:
    """Fall of the log likelihood from its peak to the edge of a two-sided region."""
    return effect * float(ndtri(0.5 + confidence / 2)) ** 2 / 2


def _shape_limit(above_floor: Callable[[float], float], at: float, end: float) -> float:
    """Where the profile over the rate meets the floor between ``at`` and ``end``.

    ``end`` where it never does.
    """
    return float(end) if above_floor(end) >= 0 else float(brentq(above_floor, at, end, xtol=1e-9))


def _edge(results: Results, lowest: float, highest: float, floor: float) -> np.ndarray:
    """Logarithms of rate and shape (2, k) all round the region above ``floor``."""
    turn = np.linspace(0, math.pi, _EDGE + 1)
    shapes = (lowest + highest) / 2 - (highest - lowest) / 2 * np.cos(turn)
    passed = IntervalLikelihood.of(results, np.exp(shapes))
    low, high = passed.where_it_drops(passed.best()[0], floor)
    return np.stack([np.r_[low, high[-2:0:-1]], np.r_[shapes, shapes[-2:0:-1]]])


class RateLimit(NamedTuple):
    """Upper limit of a constant rate, a year, at the confidence given.

    estimate: the best rate; None where nothing failed.
    """

    upper: float
    estimate: float | None
    design_effect: float

    def interval(self, target: float) -> float:
        """Years until reliability may have fallen to the target, by the upper limit."""
        share("target", target)
        return -math.log(target) / self.upper


def rate_limit(results: Results, *, confidence: float = 0.95) -> RateLimit:
    """One-sided upper limit of a constant rate; the only thing to be said where nothing failed.

    Raises BadArgument for a confidence outside 0.5 to 1: below it the limit would be under its own
    estimate.
    """
    if not 0.5 <= confidence < 1:
        raise BadArgument("confidence", f"{confidence} is not between 0.5 and 1")
    effect = design_effect(results)
    if results.failures:
        passed = IntervalLikelihood.of(results, np.ones(1))
        at, best = passed.best()
        drop = _drop(effect, 2 * confidence - 1)
        _, high = passed.where_it_drops(at, float(best[0]) - drop)
        return RateLimit(math.exp(high[0]), math.exp(at[0]), effect)
    total = float((results.end - results.start).sum())
    return RateLimit(-math.log(1 - confidence) * effect / total, None, effect)
