"""Decision rules: from errors and a tolerance to a verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

# 0.3 % of span computed from mA may come out a hair above 0.3: in % of span this much is rounding, a thousandth
# of what any loop meter shows.
SLACK = 1e-9


class Verdict(StrEnum):
    """inconclusive: the uncertainty straddles the limit; it is never a silent pass."""

    PASS = "pass"  # noqa: S105 - a verdict, no password
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


def within_tolerance(errors: ArrayLike, tolerance: ArrayLike) -> np.ndarray:
    """Where |error| ≤ tolerance, SLACK allowed; both in % of span, shapes broadcast.

    Raises ValueError for an error that is not a number or a tolerance not above zero.

    >>> within_tolerance([0.3, -0.31], 0.3).tolist()
    [True, False]
    """
    errors, tolerance = np.asarray(errors, dtype=float), np.asarray(tolerance, dtype=float)
    if not np.isfinite(errors).all():
        raise ValueError("errors: not a number; leave out readings that were not taken")
    if not (tolerance > 0).all():
        raise ValueError("tolerance: it must be above zero")
    inside: np.ndarray = np.abs(errors) <= tolerance + SLACK
    return inside


def simple_acceptance(errors: ArrayLike, tolerance: ArrayLike) -> list[Verdict]:
    """Simple acceptance, a verdict for each error: within tolerance passes, whatever the uncertainty.

    Source: JCGM 106:2012, 8.2 (from memory). Raises as within_tolerance.
    """
    inside = np.atleast_1d(within_tolerance(errors, tolerance))
    return [Verdict.PASS if ok else Verdict.FAIL for ok in inside]


def worst(verdicts: Iterable[str]) -> Verdict:
    """The verdict of the whole: one fail fails it, else one inconclusive leaves it open.

    Raises ValueError without any verdict: nothing tested is no pass.

    >>> worst([Verdict.PASS, Verdict.INCONCLUSIVE]).value
    'inconclusive'
    """
    said = {Verdict(verdict) for verdict in verdicts}
    for verdict in (Verdict.FAIL, Verdict.INCONCLUSIVE, Verdict.PASS):
        if verdict in said:
            return verdict
    raise ValueError("verdicts: there is none, and nothing tested is no pass")


class Side(StrEnum):
    """Which errors the guard band keeps away from the limit: too high, too low, or both."""

    BOTH = "both"
    HIGH = "reads high"
    LOW = "reads low"


def uncertainty_ratio(tolerance: ArrayLike, expanded: ArrayLike) -> Any:
    """Test uncertainty ratio (TUR): half-width of the tolerance over U (k = 2), in one unit; shapes broadcast.

    >>> float(uncertainty_ratio(0.2, 0.05))
    4.0
    """
    return _above_zero("tolerance", tolerance) / _above_zero("expanded", expanded)


def acceptance_limits(
    tolerance: ArrayLike, guard: ArrayLike, *, side: Side = Side.BOTH
) -> tuple[Any, Any]:
    """Lowest and highest error that is accepted, −A and +A; shapes broadcast.

    guard: width of the guard band, zero or above; only the guarded side is drawn in. Where the band takes the
    whole tolerance nothing can be accepted, and the lowest lies above the highest.
    Source: JCGM 106:2012, 8.3 (from memory).

    >>> [float(limit) for limit in acceptance_limits(1.0, 0.25, side=Side.LOW)]
    [-0.75, 1.0]
    """
    width, band = _above_zero("tolerance", tolerance), _from_zero("guard", guard)
    low = -width + (band if side is not Side.HIGH else 0 * band)
    high = width - (band if side is not Side.LOW else 0 * band)
    return low, high


def guarded_acceptance(
    errors: ArrayLike, tolerance: ArrayLike, guard: ArrayLike, *, side: Side = Side.BOTH
) -> list[Verdict]:
    """A verdict for each error, where a guard band w = r U lies on either side of the tolerance limit.

    Inside by w or more passes, outside by more than w fails, between them it is inconclusive: within_tolerance
    tells which way it leans. On a side that is not guarded the tolerance itself decides. errors, tolerance and
    guard in one unit. Source: JCGM 106:2012, 8.3; ILAC-G8:09/2019, non-binary statement (from memory).

    >>> [v.value for v in guarded_acceptance([0.1, 0.45, -0.55, 0.7], 0.5, 0.1)]
    ['pass', 'inconclusive', 'inconclusive', 'fail']
    """
    found = _numbers("errors", errors)
    low, high = acceptance_limits(tolerance, guard, side=side)
    band = np.asarray(guard, dtype=float)
    lowest = low - SLACK - np.where(side is Side.HIGH, 0, 2 * band)
    highest = high + SLACK + np.where(side is Side.LOW, 0, 2 * band)
    accepted = (found >= low - SLACK) & (found <= high + SLACK)
    rejected = (found < lowest) | (found > highest)
    return _verdicts(accepted, rejected)


def conformance_probability(
    values: ArrayLike,
    u: ArrayLike,
    *,
    lower: ArrayLike = -np.inf,
    upper: ArrayLike = np.inf,
    dof: ArrayLike = np.inf,
) -> Any:
    """Probability that what was measured lies within its limits, given nothing but this result; shapes broadcast.

    values: what was measured, such as an error with its limits ± tolerance. u: its standard uncertainty, above
    zero. lower, upper: limits, at least one of them finite. dof: with few, the tails are Student's.
    Source: JCGM 106:2012, 7.2 to 7.4 (from memory).

    >>> round(float(conformance_probability(509.7, 8.6, lower=490)), 2)
    0.99
    """
    found, spread = _numbers("values", values), _above_zero("u", u)
    low, high = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    if not (low < high).all() or (np.isinf(low) & np.isinf(high)).any():
        raise ValueError("lower, upper: one limit is needed, and the lower below the upper")
    inside: Any = _share_below((high - found) / spread, dof) - _share_below(
        (low - found) / spread, dof
    )
    return inside


def acceptance_by_risk(
    errors: ArrayLike,
    tolerance: ArrayLike,
    u: ArrayLike,
    *,
    risk: float,
    side: Side = Side.BOTH,
    dof: ArrayLike = np.inf,
) -> list[Verdict]:
    """A verdict for each error by the probability of being wrong about this one.

    Passes where it lies outside with a probability of at most ``risk``, fails where it lies inside with at most
    that; else inconclusive. With a side, only the limit of that side is given this care, the other one decides
    as in simple acceptance. Source: JCGM 106:2012, 7 and 8.3.3 (from memory).
    """
    if not 0 < risk < 0.5:
        raise ValueError(f"risk: {risk} is not between 0 and 0.5")
    found, width = _numbers("errors", errors), _above_zero("tolerance", tolerance)
    lower: Any = -np.inf if side is Side.HIGH else -width
    upper: Any = np.inf if side is Side.LOW else width
    inside = conformance_probability(found, u, lower=lower, upper=upper, dof=dof)
    beyond_other_side = np.zeros_like(inside, dtype=bool)
    if side is not Side.BOTH:
        beyond_other_side = ~within_tolerance(found, width) & (
            found < 0 if side is Side.HIGH else found > 0
        )
    accepted = (1 - inside <= risk) & ~beyond_other_side
    return _verdicts(accepted, (inside <= risk) | beyond_other_side)


def guard_for_risk(u: ArrayLike, risk: float) -> Any:
    """Guard band that leaves this probability of a false accept at the acceptance limit: Φ⁻¹(1 − risk) u.

    It counts one limit: where ± tolerance is only a few u wide the other adds to it; acceptance_by_risk counts both.
    Source: ILAC-G8:09/2019, table of guard bands (from memory).

    >>> round(float(guard_for_risk(1.0, 0.05)), 3)  # 0.83 U is the usual rounding
    1.645
    """
    if not 0 < risk <= 0.5:
        raise ValueError(f"risk: {risk} is not above 0 and at most 0.5")
    return _from_zero("u", u) * special.ndtri(1 - risk)


def managed_guard(ratio: ArrayLike) -> Any:
    """Guard band in units of U that holds the false-accept probability under 2 % whatever the population.

    ratio: TUR with U = 2u, from 1 up; no band is left above 4.6. Source: method 6 of the handbook to
    ANSI/NCSL Z540.3 (Dobbert 2008): M = 1.04 − exp(0.38 ln TUR − 0.54). Below 1 the fit was never made.

    >>> round(float(managed_guard(2.0)), 6)
    0.281645
    """
    ratios = _above_zero("ratio", ratio)
    if (ratios < 1).any():
        raise ValueError("ratio: this guard band is made for a TUR of 1 or more")
    return np.maximum(1.04 - np.exp(0.38 * np.log(ratios) - 0.54), 0.0)


def root_difference_share(ratio: ArrayLike) -> Any:
    """Acceptance limit as a share of the tolerance, √(1 − TUR⁻²). Source: Deaver 1993 (from memory)."""
    ratios = _above_zero("ratio", ratio)
    if (ratios < 1).any():
        raise ValueError("ratio: with a TUR under 1 this rule accepts nothing")
    return np.sqrt(1 - ratios**-2.0)


def straight_share(ratio: ArrayLike) -> Any:
    """Acceptance limit as a share of the tolerance, 1.25 − 1/TUR, at most 1, never below 0. Source: NCSL RP-10
    (from memory)."""
    return np.clip(1.25 - 1 / _above_zero("ratio", ratio), 0.0, 1.0)


@dataclass(frozen=True)
class FamilyErrors:
    """What a family's errors look like before one of it is measured: a normal about mean. n: how many told it."""

    mean: float
    spread: float
    n: int


def family_errors(errors: ArrayLike, u: ArrayLike) -> FamilyErrors:
    """The prior from a family's history: errors as found, and the standard uncertainty of each.

    The scatter of measuring is taken off the scatter seen. What is left is never put below the doubt of its own
    variance, so a family that looks perfect in ten results is not taken for perfect.
    Raises ValueError for fewer than three results or results that are all the same.
    """
    found, doubt = np.ravel(_numbers("errors", errors)), _from_zero("u", u)
    if found.size < 3:
        raise ValueError(f"errors: {found.size} results; a prior needs three at least")
    if np.ptp(found) == 0:
        raise ValueError("errors: all results are the same, so they show no spread")
    seen = float(found.var(ddof=1))
    least = seen * np.sqrt(2 / (found.size - 1))
    left = max(seen - float(np.mean(doubt**2)), min(least, seen))
    return FamilyErrors(float(found.mean()), float(np.sqrt(left)), int(found.size))


@dataclass(frozen=True)
class Risks:
    """Shares of all that is measured. consumer: accepted though outside. producer: rejected though inside.

    in_tolerance: truly inside. accepted: pass by the rule. Arrays where the question had arrays.
    """

    consumer: Any
    producer: Any
    in_tolerance: Any
    accepted: Any


def global_risks(
    tolerance: ArrayLike,
    u: ArrayLike,
    spread: ArrayLike,
    *,
    mean: ArrayLike = 0.0,
    guard: ArrayLike = 0.0,
    side: Side = Side.BOTH,
) -> Risks:
    """Risks of a rule over a whole family: true errors normal (mean, spread), measured with standard uncertainty u.

    guard: band inside the tolerance on the guarded side. All in one unit; shapes broadcast. True and measured
    error are jointly normal, so all shares are closed in Owen's T. Source: JCGM 106:2012, 9 (from memory).

    >>> risks = global_risks(0.2, 0.04, 0.12, guard=0.04)
    >>> round(float(risks.consumer), 5), round(float(risks.producer), 5)
    (0.00433, 0.11466)
    """
    width, doubt = _above_zero("tolerance", tolerance), _above_zero("u", u)
    true, centre = _above_zero("spread", spread), _numbers("mean", mean)
    low, high = acceptance_limits(width, guard, side=side)
    seen = np.hypot(true, doubt)
    inside = [(limit - centre) / true for limit in (-width, width)]
    # Where the band takes it all, the acceptance zone is empty and not negative.
    passed = [(limit - centre) / seen for limit in (np.minimum(low, high), high)]
    both = _both_between(inside, passed, true / seen)
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
    """P(X < h and Y < k) of two standard normals by Owen's T. Source: D. B. Owen 1956 (from memory)."""
    h, k, r = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (h, k, correlation)))
    # At 0 itself the slopes are of the form 0/0 or ±∞; this close the answer is the same to the last digit.
    h, k = (np.where(np.abs(a) < 1e-300, 1e-300, a) for a in (h, k))
    root = np.sqrt((1 - r) * (1 + r))
    with np.errstate(over="ignore"):
        slopes = (k / h - r) / root, (h / k - r) / root
    opposite = np.where(h * k < 0, 0.5, 0.0)
    alone = (special.ndtr(h) + special.ndtr(k)) / 2
    return alone - special.owens_t(h, slopes[0]) - special.owens_t(k, slopes[1]) - opposite


def _share_below(z: Any, dof: ArrayLike) -> Any:
    """Student's distribution function, the normal one where the degrees of freedom are infinite."""
    known = _above_zero("dof", dof, finite=False)
    finite = np.isfinite(known)
    return np.where(finite, special.stdtr(np.where(finite, known, 1.0), z), special.ndtr(z))


def _verdicts(accepted: Any, rejected: Any) -> list[Verdict]:
    zones = zip(np.ravel(accepted), np.ravel(rejected), strict=True)
    return [
        Verdict.PASS if yes else Verdict.FAIL if no else Verdict.INCONCLUSIVE for yes, no in zones
    ]


def _numbers(name: str, given: ArrayLike) -> Any:
    array = np.asarray(given, dtype=float)
    if not np.isfinite(array).all():
        raise ValueError(f"{name}: not a number; leave out readings that were not taken")
    return array


def _from_zero(name: str, given: ArrayLike) -> Any:
    array = np.asarray(given, dtype=float)
    if not (np.isfinite(array) & (array >= 0)).all():
        raise ValueError(f"{name}: it must be a number, zero or above")
    return array


def _above_zero(name: str, given: ArrayLike, *, finite: bool = True) -> Any:
    array = np.asarray(given, dtype=float)
    if not (array > 0).all() or (finite and not np.isfinite(array).all()):
        raise ValueError(f"{name}: it must be above zero")
    return array
