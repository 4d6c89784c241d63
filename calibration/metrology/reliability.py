"""How long a family stays in tolerance, told from pass and fail at visits alone.

When an instrument went out is never seen: a fail says "since the last visit found in", a pass "not yet". Adjustment
renews; a pass without adjustment does not. Limits are by profile likelihood, widened by the design effect, since visits
of one instrument go together. Where readings exist, the drift rule of intervals.py knows far more from fewer visits.
Source: maximum likelihood for interval-censored times (textbook; checked by INT-04); Clopper and Pearson for exact
binomial limits; the smallest samples and the design effect by simulation for this book.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize_scalar
from scipy.special import bdtr, betaincinv, gammaincc, ndtri

from calibration.metrology.drift import CannotFit

FEWEST_RESULTS, FEWEST_FAILURES = 20, 1
FEWEST_RESULTS_WEIBULL, FEWEST_FAILURES_WEIBULL, LENGTH_RATIO = 60, 10, 1.5
DESIGN_EFFECT_UNSEEN = 2.0  # where no failure shows how far visits go together
_SHAPES = (0.05, 20.0)


# ---- what was seen ----
@dataclass(frozen=True)
class Results:
    """One row a visit. start, end: years since the last renewal at the visit before and at this one; out: found out.

    instrument: whose, as whole numbers from 0 up. start == end with ``out``: a failure seen as it happened.
    """

    instrument: np.ndarray
    start: np.ndarray
    end: np.ndarray
    out: np.ndarray

    def __len__(self) -> int:
        return len(self.end)

    @property
    def failures(self) -> int:
        return int(self.out.sum())

    def some(self, rows: np.ndarray) -> Results:
        return Results(self.instrument[rows], self.start[rows], self.end[rows], self.out[rows])


def results(instrument: ArrayLike, start: ArrayLike, end: ArrayLike, out: ArrayLike) -> Results:
    """Checked rows. Raises CannotFit for none, for lengths that differ, or times that are not 0 ≤ start ≤ end."""
    _, who = np.unique(np.asarray(instrument), return_inverse=True)
    s, e = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    failed = np.asarray(out, dtype=bool)
    if not who.shape == s.shape == e.shape == failed.shape or who.ndim != 1:
        raise CannotFit("instrument, start, end, out", "they need one value a visit each")
    if who.size == 0:
        raise CannotFit("instrument", "no result was given")
    if not (np.isfinite(s) & np.isfinite(e) & (s >= 0) & (e >= s) & (e > 0)).all():
        raise CannotFit("start, end", "times must be numbers with 0 ≤ start ≤ end, and end above 0")
    if ((s == e) & ~failed).any():
        raise CannotFit("start, end", "no time passes before a result found in")
    return Results(who, s, e, failed)


def from_visits(
    instrument: ArrayLike, years: ArrayLike, found_in: ArrayLike, renewed: ArrayLike
) -> Results:
    """Results from one row a visit in any order; the first visit of each instrument only starts its clock.

    found_in: as found in tolerance. renewed: adjusted, repaired or swapped: the clock begins again. After a fail
    that was not put right nothing is counted until a renewal: it was out, and stays out.
    """
    ids, t = np.asarray(instrument), np.asarray(years, dtype=float)
    inside, renew = np.asarray(found_in, dtype=bool), np.asarray(renewed, dtype=bool)
    rows: list[tuple[int, float, float, bool]] = []
    order = np.lexsort((t, ids))
    _, who = np.unique(ids, return_inverse=True)
    previous, clock, counting = -1, 0.0, True
    for at, before in zip(order, np.r_[order[:1], order[:-1]], strict=True):
        if who[at] != previous:
            previous, clock, counting = who[at], t[at], True
            continue
        if counting:
            rows.append((who[at], t[before] - clock, t[at] - clock, not inside[at]))
        if renew[at]:
            clock, counting = t[at], True
        elif not inside[at]:
            counting = False
    return (
        results(*(np.array(column) for column in zip(*rows, strict=True)))
        if rows
        else results([], [], [], [])
    )


def design_effect(seen: Results) -> float:
    """By how much visits of one instrument going together widens a variance: never below 1; 2 if nothing failed."""
    if not seen.failures:
        return DESIGN_EFFECT_UNSEEN
    n = np.bincount(seen.instrument)
    failed = np.bincount(seen.instrument, weights=seen.out)
    p = failed.sum() / n.sum()
    if len(n) < 2 or p == 1:
        return 1.0
    between = float(((failed - n * p) ** 2).sum()) * len(n) / (len(n) - 1)
    return max(1.0, between / (n.sum() * p * (1 - p)))


# ---- fits ----
class Limits(NamedTuple):
    lower: float
    upper: float


@dataclass(frozen=True)
class ReliabilityFit:
    """R(t) = exp(−(t / scale)^shape), t in years since renewal; shape 1 is the exponential.

    rate: scale^−shape. rate_limits, shape_limits: at the confidence asked for, design effect included; those of the
    rate hold for the fitted shape.
    """

    scale: float
    shape: float
    log_likelihood: float
    results: int
    failures: int
    design_effect: float
    rate_limits: Limits
    shape_limits: Limits

    @property
    def rate(self) -> float:
        return float(self.scale**-self.shape)

    def reliability(self, years: ArrayLike) -> np.ndarray:
        return np.exp(-((np.asarray(years, dtype=float) / self.scale) ** self.shape))

    def interval(self, target: float) -> float:
        """Years until reliability falls to the target."""
        _check_share("target", target)
        return float(self.scale * (-math.log(target)) ** (1 / self.shape))


def fit_exponential(seen: Results, *, confidence: float = 0.95) -> ReliabilityFit:
    """A constant rate of going out. Raises CannotFit for fewer than 20 results or no failure: see rate_limit."""
    _check_share("confidence", confidence)
    if len(seen) < FEWEST_RESULTS:
        raise CannotFit("seen", f"{len(seen)} results; {FEWEST_RESULTS} are needed")
    if seen.failures < FEWEST_FAILURES:
        raise CannotFit("seen", "nothing was found out of tolerance: only a limit can be given")
    effect = design_effect(seen)
    passed = _Passed.of(seen, 1.0)
    log_rate, best = passed.best()
    limits = _where_it_drops(passed.log_likelihood, log_rate, best, effect, confidence)
    rates = Limits(*(math.exp(end) for end in limits))
    return ReliabilityFit(
        math.exp(-log_rate), 1.0, best, len(seen), seen.failures, effect, rates, Limits(1.0, 1.0)
    )


def fit_weibull(seen: Results, *, confidence: float = 0.95) -> ReliabilityFit:
    """A rate of going out that rises (shape above 1) or falls with time since renewal.

    Raises CannotFit for fewer than 60 results or 10 failures, or interval lengths that hardly differ: then any shape
    fits as well.
    """
    _check_share("confidence", confidence)
    _refuse_weibull(seen)
    effect = design_effect(seen)

    def profile(log_shape: float) -> float:
        return _Passed.of(seen, math.exp(log_shape)).best()[1]

    low, high = (math.log(s) for s in _SHAPES)
    grid = np.linspace(low, high, 25)
    peak = float(grid[np.argmax([profile(g) for g in grid])])
    step = grid[1] - grid[0]
    found = minimize_scalar(
        lambda x: -profile(x), (peak - step, peak, peak + step), method="golden", tol=1e-9
    )
    shape, best = math.exp(found.x), float(-found.fun)
    log_rate, _ = _Passed.of(seen, shape).best()
    shapes = _where_it_drops(profile, found.x, best, effect, confidence)
    fixed = _Passed.of(seen, shape)
    rates = _where_it_drops(fixed.log_likelihood, log_rate, best, effect, confidence)
    return ReliabilityFit(
        math.exp(-log_rate / shape), shape, best, len(seen), seen.failures, effect,
        Limits(*(math.exp(e) for e in rates)), Limits(*(math.exp(e) for e in shapes)),
    )  # fmt: skip


def _refuse_weibull(seen: Results) -> None:
    if len(seen) < FEWEST_RESULTS_WEIBULL or seen.failures < FEWEST_FAILURES_WEIBULL:
        raise CannotFit(
            "seen",
            f"{len(seen)} results with {seen.failures} out; a Weibull curve needs "
            f"{FEWEST_RESULTS_WEIBULL} with {FEWEST_FAILURES_WEIBULL}",
        )
    if seen.end.max() < LENGTH_RATIO * seen.end.min():
        raise CannotFit("seen", "all visits came after about the same time: no shape can be told")


@dataclass(frozen=True)
class _Passed:
    """Exponential likelihood on time raised to the shape: each row counts by the time passed within it."""

    out: np.ndarray
    inside: float
    exact: int
    constant: float

    @staticmethod
    def of(seen: Results, shape: float) -> _Passed:
        lapse = seen.end**shape - seen.start**shape
        at_once = seen.out & (seen.start == seen.end)
        t = seen.end[at_once]
        return _Passed(
            lapse[seen.out & ~at_once], float(lapse[~seen.out].sum()), int(at_once.sum()),
            float((math.log(shape) + (shape - 1) * np.log(t)).sum()),
        )  # fmt: skip

    def log_likelihood(self, log_rate: float) -> float:
        x = math.exp(log_rate) * self.out
        seen_out = float(np.log(-np.expm1(-x)).sum())
        return seen_out - math.exp(log_rate) * self.inside + self.exact * log_rate + self.constant

    def slope(self, log_rate: float) -> float:
        rate = math.exp(log_rate)
        x = np.minimum(rate * self.out, 700.0)
        return float((x / np.expm1(x)).sum()) - rate * self.inside + self.exact

    def best(self) -> tuple[float, float]:
        """Logarithm of the rate with the highest likelihood, and that likelihood; it has one peak."""
        if not self.inside:
            raise CannotFit("seen", "all results are out of tolerance: no rate is high enough")
        centre = math.log((len(self.out) + self.exact) / (self.inside + self.out.sum()))
        low, high = centre - 1.0, centre + 1.0
        while self.slope(low) < 0:
            low -= 2.0
        while self.slope(high) > 0:
            high += 2.0
        found = float(brentq(self.slope, low, high, xtol=1e-14))
        return found, self.log_likelihood(found)


def _where_it_drops(
    value: Callable[[float], float], at: float, best: float, effect: float, confidence: float
) -> tuple[float, float]:
    """Ends of the profile interval of a logarithm: where the log likelihood, over the design effect, has dropped."""
    drop = effect * float(ndtri(0.5 + confidence / 2)) ** 2 / 2
    ends = []
    for side in (-1.0, 1.0):
        reach = 0.25
        while best - value(at + side * reach) < drop and reach < 8:
            reach *= 1.5
        if best - value(at + side * reach) < drop:
            ends.append(side * math.inf if side < 0 else 700.0)
            continue
        ends.append(
            float(brentq(lambda x: best - value(x) - drop, *sorted((at, at + side * reach))))
        )
    return ends[0], ends[1]


class RateLimit(NamedTuple):
    """upper: the rate is at most this, a year, at the confidence asked for; estimate: None where nothing failed."""

    upper: float
    estimate: float | None
    design_effect: float

    def interval(self, target: float) -> float:
        """Years until reliability may have fallen to the target, by the upper limit."""
        _check_share("target", target)
        return -math.log(target) / self.upper


def rate_limit(seen: Results, *, confidence: float = 0.95) -> RateLimit:
    """One-sided upper limit of a constant rate; the only thing to be said where nothing failed."""
    _check_share("confidence", confidence)
    effect = design_effect(seen)
    if seen.failures:
        passed = _Passed.of(seen, 1.0)
        at, best = passed.best()
        two_sided = 2 * confidence - 1
        _, high = _where_it_drops(passed.log_likelihood, at, best, effect, two_sided)
        return RateLimit(math.exp(high), math.exp(at), effect)
    total = float((seen.end - seen.start).sum())
    return RateLimit(-math.log(1 - confidence) * effect / total, None, effect)


# ---- does it fit, and is it one family ----
class Comparison(NamedTuple):
    statistic: float
    p_value: float


def weibull_against_exponential(weibull: ReliabilityFit, exponential: ReliabilityFit) -> Comparison:
    """Likelihood ratio, over the design effect, for a shape other than 1: chi-squared with one degree of freedom."""
    ratio = 2 * (weibull.log_likelihood - exponential.log_likelihood) / weibull.design_effect
    ratio = max(ratio, 0.0)
    return Comparison(ratio, float(gammaincc(0.5, ratio / 2)))


def homogeneity(
    seen: Results, group: ArrayLike, rng: np.random.Generator, *, permutations: int = 499
) -> Comparison:
    """Whether groups of instruments go out at one rate: likelihood ratio, judged by exchanging whole instruments.

    group: one place an instrument (its number in ``seen``). Raises CannotFit for fewer than two groups or no failure.
    """
    of = np.unique(np.asarray(group), return_inverse=True)[1]
    if of.shape != (int(seen.instrument.max()) + 1,) or of.max() == 0:
        raise CannotFit("group", "one place an instrument and at least two groups are needed")
    if not 0 < seen.failures < len(seen):
        raise CannotFit("seen", "some results must be in tolerance and some out")
    together = _Passed.of(seen, 1.0).best()[1]

    def ratio(groups: np.ndarray) -> float:
        at = groups[seen.instrument]
        return 2 * (sum(_own(seen.some(at == g)) for g in range(of.max() + 1)) - together)

    statistic = ratio(of)
    beyond = sum(ratio(rng.permutation(of)) >= statistic - 1e-9 for _ in range(permutations))
    return Comparison(statistic, (1 + beyond) / (1 + permutations))


def _own(seen: Results) -> float:
    """Highest log likelihood of a group; 0 where all results agree, as at rate nothing or without bound."""
    return _Passed.of(seen, 1.0).best()[1] if 0 < seen.failures < len(seen) else 0.0


# ---- shares ----
def scaled_interval(interval: float, observed: float, target: float) -> float:
    """Interval at which a constant rate gives the target, from the share in tolerance seen at ``interval``.

    >>> round(scaled_interval(12, 0.90, 0.95), 6)
    5.842032
    """
    _check_share("observed", observed)
    _check_share("target", target)
    if not (math.isfinite(interval) and interval > 0):
        raise ValueError(f"interval: {interval} is not above zero")
    return interval * math.log(target) / math.log(observed)


def binomial_limits(k: float, n: float, confidence: float = 0.95, *, effect: float = 1.0) -> Limits:
    """Exact two-sided limits of a share, k of n; both divided by the design effect first."""
    _check_share("confidence", confidence)
    if not (n > 0 and 0 <= k <= n and effect >= 1):
        raise ValueError(f"k, n, effect: {k} of {n} at {effect} is not a share")
    k, n, tail = k / effect, n / effect, (1 - confidence) / 2
    lower = 0.0 if k == 0 else float(betaincinv(k, n - k + 1, tail))
    upper = 1.0 if k == n else float(betaincinv(k + 1, n - k, 1 - tail))
    return Limits(lower, upper)


def results_needed(confidence: float, reliability: float) -> int:
    """How many results, all in tolerance, show this reliability at this confidence."""
    _check_share("confidence", confidence)
    _check_share("reliability", reliability)
    return math.ceil(math.log(1 - confidence) / math.log(reliability))


class BinomialTest(NamedTuple):
    at_most: float
    at_least: float
    two_sided: float


def binomial_test(k: int, n: int, target: float) -> BinomialTest:
    """How likely k or fewer, k or more, or anything as unlikely as k of n would be at this share in tolerance."""
    _check_share("target", target)
    if not 0 <= k <= n or n < 1:
        raise ValueError(f"k, n: {k} of {n} is not a share")
    below = np.r_[0.0, [float(bdtr(i, n, target)) for i in range(n + 1)]]
    each = np.array([math.comb(n, i) * target**i * (1 - target) ** (n - i) for i in range(n + 1)])
    rare = each <= each[k] * (1 + 1e-7)
    return BinomialTest(
        float(below[k + 1]), float(each[k:].sum()), float(min(1.0, each[rare].sum()))
    )


def _check_share(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name}: {value} is not between 0 and 1")
