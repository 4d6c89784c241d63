"""Checks of a fitted reliability curve: does it fit, and does one curve fit all instruments?

Both allow for visits of one instrument going together: by the design effect, and by whole
instruments.
Source: score statistics and their exchange between groups are textbook. How often each rejects at
5 % where it should not, of 1,000 simulated families each (tests/bench/reliability.py): the curve 4
to 5 %, 1 to 4 % where times of one instrument go together; groups 5 to 6 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc

from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import ReliabilityFit, rate_limit
from calibration.metrology.shares import Limits, binomial_limits
from calibration.metrology.visit_results import Results, design_effect

_FEWEST_EXPECTED = 4.0  # out of tolerance, in each group by which the fit is checked
_MOST_GROUPS = 6
_LEAST_SIZE = 0.1


class Comparison(NamedTuple):
    """A test statistic, and the probability of one at least so large by chance."""

    statistic: float
    p_value: float


def expected_out(results: Results, fit: ReliabilityFit) -> np.ndarray:
    """For each result the chance, by the fit, of going out since the visit before, (n,)."""
    return -np.expm1(-_passed(results, fit))


def _passed(results: Results, fit: ReliabilityFit) -> np.ndarray:
    """What ln R loses between the visits before and at each result."""
    return (results.end / fit.scale) ** fit.shape - (results.start / fit.scale) ** fit.shape


def goodness_of_fit(results: Results, fit: ReliabilityFit) -> Comparison:
    """Whether more or fewer went out at some times since renewal than the curve expects.

    Results are grouped by time since renewal; counted less expected, squared in the scatter that a
    fitted curve leaves it, over the design effect: chi-squared. Failures observed as they happened
    stay aside. Raises CannotFit where too few are expected out to make one group more than the
    curve has free numbers.
    """
    results = results.some(results.start < results.end)
    groups = _groups(results, fit)
    free = 2 if fit.is_weibull else 1
    if groups.max() < free:
        raise CannotFit(
            "results",
            f"{results.failures} out of tolerance, or all at about one time since renewal: "
            "too few to check the curve by",
        )
    passed, into = _passed(results, fit), groups[:, None] == np.arange(groups.max() + 1)
    chance = -np.expm1(-passed)
    beyond = into.T @ (results.out - chance)
    bends = np.stack([passed, _bend(results, fit)], axis=1)[:, :free]
    information = (bends * ((1 - chance) / chance)[:, None]).T @ bends
    taken = into.T @ (bends * (1 - chance)[:, None])
    scatter = np.diag(into.T @ (chance * (1 - chance))) - taken @ np.linalg.solve(
        information, taken.T
    )
    unit = np.sqrt(np.diag(scatter))
    sizes, ways = np.linalg.eigh(scatter / np.outer(unit, unit))
    free_ways = (
        sizes > _LEAST_SIZE * sizes.max()
    )  # along the others the fit has followed what was counted
    along = ways[:, free_ways].T @ (beyond / unit)
    statistic = float((along**2 / sizes[free_ways]).sum()) / fit.design_effect
    return Comparison(statistic, float(gammaincc(free_ways.sum() / 2, statistic / 2)))


def _groups(results: Results, fit: ReliabilityFit) -> np.ndarray:
    """Group of each result by its time since renewal; equal times together.

    About as many are expected out in each group.
    """
    chance = expected_out(results, fit)
    many = int(min(_MOST_GROUPS, chance.sum() // _FEWEST_EXPECTED))
    where = np.unique(results.end, return_inverse=True)[1]
    run = np.cumsum(np.bincount(where, weights=chance))
    group = np.minimum((many * (run - 1e-9) / run[-1]).astype(int), max(many - 1, 0))
    return np.unique(group, return_inverse=True)[1][where]


def _bend(results: Results, fit: ReliabilityFit) -> np.ndarray:
    """Change of ``_passed`` with the logarithm of the shape, the rate held."""

    def part(years: np.ndarray) -> np.ndarray:
        log = np.log(np.where(years > 0, years, 1.0))
        return fit.rate * fit.shape * years**fit.shape * log

    return part(results.end) - part(results.start)


# Between the intervals that plants use: 1, 3, 6, 12, 18, 24, 36, 48, 60 and 72 months, and beyond.
_BETWEEN = np.array([2.0, 4.5, 9.0, 15.0, 21.0, 30.0, 42.0, 54.0, 66.0, 90.0]) / 12


@dataclass(frozen=True)
class TimeGroup:
    """Results at about one time since renewal, from ``shortest`` to ``longest`` years.

    limits: of the share in tolerance, at 95 %, design effect included. expected_out: by the fit;
    None without one.
    """

    shortest: float
    longest: float
    results: int
    out: int
    limits: Limits
    expected_out: float | None

    @property
    def inside(self) -> int:
        return self.results - self.out

    @property
    def share(self) -> float:
        return self.inside / self.results


def time_groups(results: Results, fit: ReliabilityFit | None) -> list[TimeGroup]:
    """The results by time since renewal, shortest first. A result counts once, at its visit."""
    effect = design_effect(results)
    chance = None if fit is None else expected_out(results, fit)
    group = np.searchsorted(_BETWEEN, results.end)
    groups = []
    for number in np.unique(group):
        rows = group == number
        n, out = int(rows.sum()), int(results.out[rows].sum())
        groups.append(
            TimeGroup(
                float(results.end[rows].min()),
                float(results.end[rows].max()),
                n,
                out,
                binomial_limits(n - out, n, effect=min(effect, n)),
                None if chance is None else float(chance[rows].sum()),
            )
        )
    return groups


def homogeneity(
    results: Results, group: ArrayLike, rng: np.random.Generator, *, permutations: int = 999
) -> Comparison:
    """Whether groups of instruments go out of tolerance at one rate.

    A score statistic, judged by exchanging whole instruments. group: one place an instrument (its
    number in ``results``). Raises CannotFit for fewer than two groups or no failure.
    """
    of = np.unique(np.asarray(group), return_inverse=True)[1]
    if of.shape != (results.instruments,) or of.max() == 0:
        raise CannotFit("group", "one place an instrument and at least two groups are needed")
    if not 0 < results.failures < len(results):
        raise CannotFit("results", "some results must be in tolerance and some out")
    passed = (results.end - results.start) * (rate_limit(results).estimate or 0.0)
    chance = -np.expm1(-passed)
    # A failure observed as it happened pulls by 1, and weighs nothing.
    share = np.divide(passed, chance, out=np.ones_like(passed), where=chance > 0)
    pull = np.bincount(results.instrument, weights=share * (results.out - chance))
    weight = np.bincount(results.instrument, weights=passed * share * (1 - chance))

    def spread(groups: np.ndarray) -> float:
        heavy = np.bincount(groups, weights=weight)
        return float((np.bincount(groups, weights=pull) ** 2 / np.maximum(heavy, 1e-300)).sum())

    statistic = spread(of)
    beyond = sum(spread(rng.permutation(of)) >= statistic - 1e-9 for _ in range(permutations))
    return Comparison(statistic, (1 + beyond) / (1 + permutations))
