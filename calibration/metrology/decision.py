"""Decision rules: from errors and a tolerance to a verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from plant.level.checks import BadArgument, above_zero, limits_size, not_below_zero, numbers

# 0.3 % of span computed from mA may come out a hair above 0.3: in % of span this much is
# rounding, a thousandth of what any loop meter shows.
SLACK = 1e-9


class Verdict(StrEnum):
    """inconclusive: the uncertainty straddles the limit; it is never a silent pass."""

    PASS = "pass"  # noqa: S105 - a verdict, no password
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


def within_tolerance(errors: ArrayLike, tolerance: ArrayLike) -> np.ndarray:
    """Where |error| ≤ tolerance, SLACK allowed; both in % of span, shapes broadcast.

    Raises BadArgument for an error that is not a number or a tolerance not above zero.

    >>> within_tolerance([0.3, -0.31], 0.3).tolist()
    [True, False]
    """
    half = above_zero("tolerance", tolerance, finite=False)
    inside: np.ndarray = np.abs(numbers("errors", errors)) <= half + SLACK
    return inside


def simple_acceptance(errors: ArrayLike, tolerance: ArrayLike) -> list[Verdict]:
    """Simple acceptance: within tolerance passes, whatever the uncertainty; a verdict each.

    Source: JCGM 106:2012, 8.2 (from memory). Raises as within_tolerance.
    """
    inside = np.atleast_1d(within_tolerance(errors, tolerance))
    return [Verdict.PASS if ok else Verdict.FAIL for ok in inside]


def worst(verdicts: Iterable[str]) -> Verdict:
    """The verdict of the whole: one fail fails it, else one inconclusive leaves it open.

    Raises BadArgument without any verdict: nothing tested is no pass.

    >>> worst([Verdict.PASS, Verdict.INCONCLUSIVE]).value
    'inconclusive'
    """
    known = {Verdict(verdict) for verdict in verdicts}
    for verdict in (Verdict.FAIL, Verdict.INCONCLUSIVE, Verdict.PASS):
        if verdict in known:
            return verdict
    raise BadArgument("verdicts", "there is none, and nothing tested is no pass")


@limits_size("tolerance")
def uncertainty_ratio(tolerance: ArrayLike, expanded: ArrayLike) -> Any:
    """Test uncertainty ratio (TUR): half-width of the tolerance over the expanded uncertainty U of
    the error, at 95 %; shapes broadcast.

    Both in one unit. Raises BadArgument where one is not above zero. Source: ANSI/NCSL Z540.3, the
    tolerance's span over twice the 95 % expanded uncertainty (from memory).

    >>> float(uncertainty_ratio(0.2, 0.05))
    4.0
    """
    return above_zero("tolerance", tolerance) / above_zero("expanded", expanded)


def acceptance_limit(tolerance: ArrayLike, guard: ArrayLike) -> Any:
    """Largest error, either way, that is accepted: A = T − w; shapes broadcast.

    guard: width w of the guard band, in the unit of the tolerance. Where the band takes the whole
    tolerance the limit is below zero, and nothing can be accepted.
    Raises BadArgument for a tolerance not above zero or a guard band below zero.
    Source: JCGM 106:2012, 8.3 (from memory).

    >>> float(acceptance_limit(1.0, 0.25))
    0.75
    """
    return above_zero("tolerance", tolerance) - not_below_zero("guard", guard)


@limits_size("guard")
def guarded_acceptance(errors: ArrayLike, tolerance: ArrayLike, guard: ArrayLike) -> list[Verdict]:
    """A verdict for each error, with a guard band w = r U on either side of the tolerance limit.

    Inside by w or more passes, outside by more than w fails, between them it is inconclusive:
    within_tolerance tells which way it leans. errors, tolerance and guard in one unit.
    Raises BadArgument as acceptance_limit, and for an error that is not a number.
    Source: JCGM 106:2012, 8.3; ILAC-G8:09/2019, non-binary statement (from memory).

    >>> [v.value for v in guarded_acceptance([0.1, 0.45, -0.55, 0.7], 0.5, 0.1)]
    ['pass', 'inconclusive', 'inconclusive', 'fail']
    """
    size = np.abs(numbers("errors", errors))
    limit = acceptance_limit(tolerance, guard)
    rejection = limit + 2 * np.asarray(guard, dtype=float)
    return _verdicts(size <= limit + SLACK, size > rejection + SLACK)


@limits_size("values", "lower", "upper")
def conformance_probability(
    values: ArrayLike,
    u: ArrayLike,
    *,
    lower: ArrayLike = -np.inf,
    upper: ArrayLike = np.inf,
    dof: ArrayLike = np.inf,
) -> Any:
    """Probability that what was measured lies within its limits, from this result alone.

    values: what was measured, such as an error with its limits ± tolerance. u: its standard
    uncertainty. lower, upper: limits, at least one of them finite. dof: degrees of freedom; with
    few, the tails are Student's. Shapes broadcast.
    Raises BadArgument for u or dof not above zero, and for limits that are not in rising order.
    Source: JCGM 106:2012, 7.2 to 7.4 (from memory).

    >>> round(float(conformance_probability(509.7, 8.6, lower=490)), 2)
    0.99
    """
    value, spread = numbers("values", values), above_zero("u", u)
    low, high = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    if not (low < high).all() or (np.isinf(low) & np.isinf(high)).any():
        raise BadArgument(
            "lower, upper", "one limit is needed, and the lower must be below the upper"
        )
    below_upper = _share_below((high - value) / spread, dof)
    return below_upper - _share_below((low - value) / spread, dof)


@limits_size("errors", "tolerance")
def acceptance_by_risk(
    errors: ArrayLike,
    tolerance: ArrayLike,
    u: ArrayLike,
    *,
    risk: float,
    dof: ArrayLike = np.inf,
) -> list[Verdict]:
    """A verdict for each error by the probability of being wrong about this one.

    Passes where it lies outside with a probability of at most ``risk``, fails where it lies inside
    with at most that; else inconclusive. errors, tolerance and u in one unit.
    Raises BadArgument for a risk outside 0 to 0.5, and as conformance_probability.
    Source: JCGM 106:2012, 7 and 8.3.3 (from memory).
    """
    if not 0 < risk < 0.5:
        raise BadArgument("risk", f"{risk} is not between 0 and 0.5")
    half = above_zero("tolerance", tolerance)
    error = numbers("errors", errors)
    inside = conformance_probability(error, u, lower=-half, upper=half, dof=dof)
    return _verdicts(1 - inside <= risk, inside <= risk)


@limits_size("u")
def guard_for_risk(u: ArrayLike, risk: float) -> Any:
    """Guard band that leaves this probability of a false accept at the limit: Φ⁻¹(1 − risk) u.

    It counts one limit: where ± tolerance is only a few u wide the other adds to it;
    acceptance_by_risk counts both. Raises BadArgument for a risk not above 0 and at most 0.5.
    Source: ILAC-G8:09/2019, table of guard bands (from memory).

    >>> round(float(guard_for_risk(1.0, 0.05)), 3)  # 0.83 U is the usual rounding
    1.645
    """
    if not 0 < risk <= 0.5:
        raise BadArgument("risk", f"{risk} is not above 0 and at most 0.5")
    return not_below_zero("u", u) * special.ndtri(1 - risk)


@dataclass(frozen=True)
class FamilyErrors:
    """True errors of a family as a normal distribution, % of span. n: results it rests on."""

    mean: float
    spread: float
    n: int


@limits_size("errors", "u")
def family_errors(errors: ArrayLike, u: ArrayLike) -> FamilyErrors:
    """The distribution of a family's true errors, from its errors as found.

    errors: % of span, one a result. u: standard uncertainty of each, or one for all. The scatter of
    measuring is taken off the scatter of the results. What is left is never put below the
    uncertainty of its own variance, so a family that looks perfect in ten results is not taken for
    perfect.
    Raises BadArgument for fewer than three results or results that are all the same.
    """
    error, spread = np.ravel(numbers("errors", errors)), not_below_zero("u", u)
    if error.size < 3:
        raise BadArgument("errors", f"{error.size} results; at least three are needed")
    if np.ptp(error) == 0:
        raise BadArgument("errors", "all results are the same, so they show no spread")
    variance = float(error.var(ddof=1))
    least = variance * np.sqrt(2 / (error.size - 1))
    true = max(variance - float(np.mean(spread**2)), min(least, variance))
    return FamilyErrors(float(error.mean()), float(np.sqrt(true)), int(error.size))


@dataclass(frozen=True)
class Risks:
    """Shares of all results. consumer: accepted though outside. producer: rejected though inside.

    in_tolerance: truly inside. accepted: pass by the rule. Arrays where the arguments are arrays.
    """

    consumer: Any
    producer: Any
    in_tolerance: Any
    accepted: Any


@limits_size("tolerance", "u", "spread", "mean")
def global_risks(
    tolerance: ArrayLike,
    u: ArrayLike,
    spread: ArrayLike,
    *,
    mean: ArrayLike = 0.0,
    guard: ArrayLike = 0.0,
) -> Risks:
    """Risks of a decision rule over a whole family.

    True errors are normal (mean, spread) and measured with standard uncertainty u; guard: guard
    band inside the tolerance. All in one unit; shapes broadcast. True and measured error are
    jointly normal, so all shares are closed in Owen's T.
    Raises BadArgument for a tolerance, u or spread not above zero, or a guard band below zero.
    Source: JCGM 106:2012, 9 (from memory).

    >>> risks = global_risks(0.2, 0.04, 0.12, guard=0.04)
    >>> round(float(risks.consumer), 5), round(float(risks.producer), 5)
    (0.00433, 0.11466)
    """
    half, noise = above_zero("tolerance", tolerance), above_zero("u", u)
    true, centre = above_zero("spread", spread), numbers("mean", mean)
    # Where the band takes it all, the acceptance zone is empty and not negative.
    limit = np.maximum(acceptance_limit(half, guard), 0.0)
    measured = np.hypot(true, noise)
    inside = [(end - centre) / true for end in (-half, half)]
    passed = [(end - centre) / measured for end in (-limit, limit)]
    both = _both_between(inside, passed, true / measured)
    share_inside = special.ndtr(inside[1]) - special.ndtr(inside[0])
    share_passed = special.ndtr(passed[1]) - special.ndtr(passed[0])
    return Risks(
        consumer=np.maximum(share_passed - both, 0.0),
        producer=np.maximum(share_inside - both, 0.0),
        in_tolerance=share_inside,
        accepted=share_passed,
    )


def _both_between(x: list[Any], y: list[Any], correlation: Any) -> Any:
    """P(x0 < X < x1 and y0 < Y < y1) of two standard normals."""

    def corner(h: Any, k: Any) -> Any:
        return _both_below(h, k, correlation)

    return corner(x[1], y[1]) - corner(x[0], y[1]) - corner(x[1], y[0]) + corner(x[0], y[0])


def _both_below(h: Any, k: Any, correlation: Any) -> Any:
    """P(X < h and Y < k) of two standard normals by Owen's T. Source: D. B.

    Owen 1956 (from memory).
    """
    h, k, r = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (h, k, correlation)))
    # At 0 itself the slopes are of the form 0/0 or ±∞; this close the answer is the same to the
    # last digit.
    h, k = (np.where(np.abs(a) < 1e-300, 1e-300, a) for a in (h, k))
    root = np.sqrt((1 - r) * (1 + r))
    with np.errstate(over="ignore"):
        slopes = (k / h - r) / root, (h / k - r) / root
    opposite = np.where(h * k < 0, 0.5, 0.0)
    alone = (special.ndtr(h) + special.ndtr(k)) / 2
    return alone - special.owens_t(h, slopes[0]) - special.owens_t(k, slopes[1]) - opposite


def _share_below(z: Any, dof: ArrayLike) -> Any:
    """Student's distribution function, the normal one where the degrees of freedom are infinite."""
    known = above_zero("dof", dof, finite=False)
    finite = np.isfinite(known)
    return np.where(finite, special.stdtr(np.where(finite, known, 1.0), z), special.ndtr(z))


def _verdicts(accepted: Any, rejected: Any) -> list[Verdict]:
    zones = zip(np.ravel(accepted), np.ravel(rejected), strict=True)
    return [
        Verdict.PASS if yes else Verdict.FAIL if no else Verdict.INCONCLUSIVE for yes, no in zones
    ]
