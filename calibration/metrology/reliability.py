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
from calibration.metrology.shares import Limits
from plant.level.checks import share

FEWEST_RESULTS, FEWEST_FAILURES = 20, 1
FEWEST_RESULTS_WEIBULL, FEWEST_FAILURES_WEIBULL, LENGTH_RATIO = 60, 10, 1.5
DESIGN_EFFECT_UNSEEN = 2.0  # where no failure shows how far visits go together
_SHAPES = (0.05, 20.0)
_EDGE = 48  # curves along each side of the edge of the confidence region


# ---- results of visits ----
@dataclass(frozen=True)
class Results:
    """One row a visit, by the time since the last renewal.

    instrument: whose, as whole numbers from 0 up. start, end: years since the renewal at the visit
    before and at this one. out: out of tolerance as found. start == end with ``out``: a failure
    observed as it happened.
    """

    instrument: np.ndarray
    start: np.ndarray
    end: np.ndarray
    out: np.ndarray

    @staticmethod
    def of(instrument: ArrayLike, start: ArrayLike, end: ArrayLike, out: ArrayLike) -> Results:
        """Checked rows, one a visit.

        Raises CannotFit for none, for lengths that differ, or times that are not 0 ≤ start ≤ end.
        """
        _, who = np.unique(np.asarray(instrument), return_inverse=True)
        s, e = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
        failed = np.asarray(out, dtype=bool)
        if not who.shape == s.shape == e.shape == failed.shape or who.ndim != 1:
            raise CannotFit("instrument, start, end, out", "they need one value a visit each")
        if who.size == 0:
            raise CannotFit("instrument", "no result was given")
        if not (np.isfinite(s) & np.isfinite(e) & (s >= 0) & (e >= s) & (e > 0)).all():
            raise CannotFit(
                "start, end", "times must be numbers with 0 ≤ start ≤ end, and end above 0"
            )
        if ((s == e) & ~failed).any():
            raise CannotFit("start, end", "no time passes before a result in tolerance")
        return Results(who, s, e, failed)

    def __len__(self) -> int:
        return len(self.end)

    @property
    def failures(self) -> int:
        return int(self.out.sum())

    @property
    def instruments(self) -> int:
        return int(self.instrument.max()) + 1

    def some(self, rows: np.ndarray) -> Results:
        return Results(self.instrument[rows], self.start[rows], self.end[rows], self.out[rows])


class ClockedVisits(NamedTuple):
    """Visits as times since renewal. row: which visit each one is; the rest as in Results."""

    row: np.ndarray
    start: np.ndarray
    end: np.ndarray
    out: np.ndarray


def times_since_renewal(
    instrument: ArrayLike, years: ArrayLike, in_tolerance: ArrayLike, renewed: ArrayLike
) -> ClockedVisits:
    """Each visit that counts, by the time since renewal; visits in any order, shapes alike (n,).

    in_tolerance: as found. renewed: adjusted, repaired or swapped, and left in tolerance: the
    clock begins again. The first visit of an instrument only starts its clock. After a fail that
    was not put right nothing is counted until a renewal: it was out, and stays out.
    """
    ids, t = np.asarray(instrument), np.asarray(years, dtype=float)
    renew = np.asarray(renewed, dtype=bool)
    if not ids.size:
        return ClockedVisits(*(np.zeros(0, dtype=kind) for kind in (int, float, float, bool)))
    order = np.lexsort((t, ids))
    ids, t, renew = ids[order], t[order], renew[order]
    out = ~np.asarray(in_tolerance, dtype=bool)[order]
    first = np.r_[True, ids[1:] != ids[:-1]]
    place = np.arange(len(ids))
    before = np.r_[0, place[:-1]]
    # The visit that set the clock running last, as of the visit before this one.
    clock = np.maximum.accumulate(np.where(first | renew, place, 0))[before]
    left_out = np.cumsum(out & ~renew)
    stuck = left_out[before] - left_out[clock] + (out & ~renew)[clock] > 0
    counts = ~first & ~stuck
    return ClockedVisits(
        order[counts], (t[before] - t[clock])[counts], (t - t[clock])[counts], out[counts]
    )


def design_effect(results: Results) -> float:
    """By how much visits of one instrument going together widen a variance: at least 1.

    2 where nothing failed.
    """
    if not results.failures:
        return DESIGN_EFFECT_UNSEEN
    n = np.bincount(results.instrument)
    failed = np.bincount(results.instrument, weights=results.out)
    p = failed.sum() / n.sum()
    if len(n) < 2 or p == 1:
        return 1.0
    between = float(((failed - n * p) ** 2).sum()) * len(n) / (len(n) - 1)
    return max(1.0, between / (n.sum() * p * (1 - p)))


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
        return np.exp(-((np.asarray(years, dtype=float) / self.scale) ** self.shape))

    def band(self, years: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper limit of R at each time (n,), years above 0.

        Pointwise, not for the curve as a whole.
        """
        at = np.log(np.asarray(years, dtype=float).ravel())[:, None]
        low, high = _ends(self.edge[0] + np.exp(self.edge[1]) * at)
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
    passed = _Passed.of(results, np.ones(1))
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
    differ: then any shape fits as well.
    """
    share("confidence", confidence)
    _refuse_weibull(results)
    effect = design_effect(results)

    def profile(log_shape: float) -> float:
        return float(_Passed.of(results, np.exp([log_shape])).best()[1][0])

    grid = np.linspace(math.log(_SHAPES[0]), math.log(_SHAPES[1]), 25)
    peak = float(grid[np.argmax(_Passed.of(results, np.exp(grid)).best()[1])])
    step = float(grid[1] - grid[0])
    peak_of = minimize_scalar(
        lambda x: -profile(x), (peak - step, peak, peak + step), method="brent", tol=1e-9
    )
    log_shape, best = float(peak_of.x), float(-peak_of.fun)
    log_rate = float(_Passed.of(results, np.exp([log_shape])).best()[0][0])
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
    passed = _Passed.of(results, np.exp(shapes))
    low, high = passed.where_it_drops(passed.best()[0], floor)
    return np.stack([np.r_[low, high[-2:0:-1]], np.r_[shapes, shapes[-2:0:-1]]])


@dataclass(frozen=True)
class _Passed:
    """Exponential likelihood on time raised to each of k shapes.

    Each row counts by the time passed within it. out: (m, k) of the rows out of tolerance; inside:
    (k,) summed over those in. Log rates are (k,) throughout; in them the likelihood is concave.
    """

    out: np.ndarray
    inside: np.ndarray
    exact: int
    constant: np.ndarray

    @staticmethod
    def of(results: Results, shapes: np.ndarray) -> _Passed:
        at_once = results.out & (results.start == results.end)
        later, inside = results.out & ~at_once, ~results.out
        start, end = results.start[inside], results.end[inside]
        t = np.log(results.end[at_once])
        return _Passed(
            results.end[later, None] ** shapes - results.start[later, None] ** shapes,
            np.array([float((end**shape - start**shape).sum()) for shape in shapes]),
            int(at_once.sum()),
            len(t) * np.log(shapes) + (shapes - 1) * float(t.sum()),
        )

    def log_likelihood(self, log_rate: np.ndarray) -> np.ndarray:
        rate = np.exp(log_rate)
        gone_out = np.log(-np.expm1(-rate * self.out)).sum(axis=0)
        return gone_out - rate * self.inside + self.exact * log_rate + self.constant

    def slope(self, log_rate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """First and second derivative."""
        rate = np.exp(log_rate)
        x = np.clip(rate * self.out, 1e-300, 500.0)
        share = x / np.expm1(x)
        rise = share.sum(axis=0) - rate * self.inside + self.exact
        return rise, (share * (1 - x - share)).sum(axis=0) - rate * self.inside

    def best(self) -> tuple[np.ndarray, np.ndarray]:
        """Logarithm of the rate with the highest likelihood, and that likelihood."""
        if not self.inside.all():
            raise CannotFit("results", "all results are out of tolerance: no rate is high enough")
        failed = self.out.shape[0] + self.exact
        at = np.log(failed / (self.inside + self.out.sum(axis=0)))
        for _ in range(100):
            rise, bend = self.slope(at)
            step = np.clip(-rise / np.minimum(bend, -1e-12), -1.0, 1.0)
            at = at + step
            if np.abs(step).max() < 1e-12:
                break
        return at, self.log_likelihood(at)

    def where_it_drops(self, at: np.ndarray, floor: float) -> tuple[np.ndarray, np.ndarray]:
        """Log rates on both sides of the peaks ``at`` where the likelihood meets ``floor``.

        The peak itself where it lies below.
        """
        return self._outwards(at, floor, -1.0), self._outwards(at, floor, 1.0)

    def _outwards(self, at: np.ndarray, floor: float, side: float) -> np.ndarray:
        reached = self.log_likelihood(at) <= floor
        beyond, reach = at.copy(), 0.25
        while reach < 16 and (above := self.log_likelihood(beyond) > floor).any():
            beyond, reach = np.where(above, at + side * reach, beyond), 1.6 * reach
        # From outside a concave curve Newton's tangent never steps past the crossing.
        for _ in range(60):
            slope = np.where(reached, -side, self.slope(beyond)[0])
            step = np.where(reached, 0.0, (self.log_likelihood(beyond) - floor) / slope)
            beyond = beyond - step
            if np.abs(step).max() < 1e-11:
                break
        return np.where(reached, at, beyond)


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
    """One-sided upper limit of a constant rate; the only thing to be said where nothing failed."""
    share("confidence", confidence)
    effect = design_effect(results)
    if results.failures:
        passed = _Passed.of(results, np.ones(1))
        at, best = passed.best()
        drop = _drop(effect, 2 * confidence - 1)
        _, high = passed.where_it_drops(at, float(best[0]) - drop)
        return RateLimit(math.exp(high[0]), math.exp(at[0]), effect)
    total = float((results.end - results.start).sum())
    return RateLimit(-math.log(1 - confidence) * effect / total, None, effect)


# ---- which of the two curves ----
