"""A budget of measurement uncertainty: components combined, and the coverage of the result.

After JCGM 100:2008 (4.3, 5, G.3 and G.4) and, for rectangular components, their convolution as in
EA-4/02 supplements S9 and S10 (all from memory; values in fixtures/reference/uncertainty.json).
Value, sensitivity and degrees of freedom may be arrays: a fleet whose instruments share their list
of components is one budget.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy import special

from plant.level.arrays import Floats, float_or_array
from plant.level.checks import BadArgument, above_zero, not_below_zero, numbers, share

# Coverage of k = 2 where nothing limits the degrees of freedom.
PROBABILITY = math.erf(math.sqrt(2))
# Named as dominant where the rest is no more than this share of it, both as standard uncertainties
# (EA-4/02 S9, from memory).
DOMINANCE = 0.3
# A difference of k that shows in its second digit after the point; and a share of u that does not.
SHOWN, NO_PART = 0.005, 1e-6
LEAST_PROBABILITY = 1e-6
FALSE_POSITIONS = 18  # the half-width then holds to eight digits at 95 %
# Of the third rectangle, which is convolved by Gauss's rule.
_PLACES, _SHARES = np.polynomial.legendre.leggauss(5)
_SHARES = _SHARES / 2


class Shape(StrEnum):
    """How the values of an input may lie about its estimate."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "U-shaped"
    TYPE_A = "from repeats"


# What a half-width is divided by; the value of the first and the last is a standard uncertainty
# unless k is given.
DIVISORS = {
    Shape.NORMAL: 1.0,
    Shape.RECTANGULAR: math.sqrt(3),
    Shape.TRIANGULAR: math.sqrt(6),
    Shape.U_SHAPED: math.sqrt(2),
    Shape.TYPE_A: 1.0,
}


@dataclass(frozen=True)
class Component:
    """One source of uncertainty.

    value: half-width, expanded uncertainty or standard uncertainty, in the input's unit; zero or
    above.
    divisor: what makes it a standard uncertainty; by default that of the shape. For an expanded
    uncertainty: its k.
    sensitivity: change of the result for one unit of the input, with its sign.
    dof: degrees of freedom; infinite where the value is taken as known. shared: the same error in
    every reading of a test, so it does not average out between them. Raises BadArgument that names
    what is wrong.

    >>> round(Component("resolution", 0.0005, Shape.RECTANGULAR).u, 9)
    0.000288675
    """

    name: str
    value: Floats
    shape: Shape = Shape.NORMAL
    divisor: float | None = None
    sensitivity: Floats = 1.0
    dof: Floats = math.inf
    shared: bool = False

    def __post_init__(self) -> None:
        not_below_zero(f"value of “{self.name}”", self.value)
        numbers(f"sensitivity of “{self.name}”", self.sensitivity)
        if self.divisor is not None:
            above_zero(f"divisor of “{self.name}”", self.divisor)
        above_zero(f"dof of “{self.name}”", self.dof, finite=False)

    @property
    def u(self) -> Floats:
        """Standard uncertainty of the input, in its unit."""
        by = DIVISORS[self.shape] if self.divisor is None else self.divisor
        return float_or_array(np.asarray(self.value, dtype=float) / by)

    @property
    def contribution(self) -> Floats:
        """Uncertainty contribution: sensitivity × u, with the sign of the sensitivity."""
        return float_or_array(np.asarray(self.sensitivity, dtype=float) * self.u)


def scaled(components: Sequence[Component], by: Floats) -> tuple[Component, ...]:
    """The components with every sensitivity multiplied, such as 100 / span to come to % of span."""
    return tuple(replace(c, sensitivity=np.asarray(c.sensitivity) * by) for c in components)


@dataclass(frozen=True)
class Budget:
    """Components combined. Arrays have the shape of the fleet.

    u: combined standard uncertainty. dof: effective degrees of freedom. contributions: sensitivity
    × u, one row a component. shares: each one's share of the variance, 1 in all.
    """

    components: tuple[Component, ...]
    u: Floats
    dof: Floats
    contributions: np.ndarray
    shares: np.ndarray


def combine(components: Sequence[Component]) -> Budget:
    """The budget of independent components: u² = Σ (c u)².

    Raises BadArgument for no component, or for arrays that do not broadcast.
    Source: JCGM 100:2008, 5.1.2 and, for the degrees of freedom, G.4.1 (from memory).

    >>> combine([Component("meter", 3.0), Component("level", 4.0)]).u
    5.0
    """
    if not components:
        raise BadArgument(
            "components", "the budget is empty; name at least one source of uncertainty"
        )
    contributions, dofs = _table(components)
    variance = (contributions**2).sum(axis=0)
    u = np.sqrt(variance)
    shares = np.divide(
        contributions**2, variance, out=np.zeros_like(contributions), where=variance > 0
    )
    return Budget(
        components=tuple(components),
        u=float_or_array(u),
        dof=float_or_array(_effective_dof(contributions, dofs, u)),
        contributions=contributions,
        shares=shares,
    )


def _table(components: Sequence[Component]) -> tuple[np.ndarray, np.ndarray]:
    """Contributions and degrees of freedom, one row a component."""
    columns = [np.asarray(c.contribution, dtype=float) for c in components]
    dofs = [np.asarray(c.dof, dtype=float) for c in components]
    try:
        spread = np.broadcast_arrays(*columns, *dofs)
    except ValueError:
        shapes = ", ".join(f"“{c.name}” {np.shape(c.contribution)}" for c in components)
        raise BadArgument("components", f"their arrays do not fit together: {shapes}") from None
    return np.array(spread[: len(columns)]), np.array(spread[len(columns) :])


def _effective_dof(contributions: np.ndarray, dofs: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Welch–Satterthwaite: u⁴ / Σ (c u)⁴/ν."""
    total = (contributions**4 / dofs).sum(axis=0)
    return np.divide(u**4, total, out=np.full_like(u, np.inf), where=total > 0)


@dataclass(frozen=True)
class Coverage:
    """Expanded uncertainty, k u. by: the rule that gives k (an array of words for a fleet).

    "degrees of freedom": Student's t, the normal where they are infinite. "one rectangular
    component" and "two rectangular components": these dominate. "rectangular components and the
    rest": none dominates, and the sum of them is narrower than a normal.
    """

    k: Floats
    expanded: Floats
    by: str | np.ndarray


T_RULE = "degrees of freedom"
SUM_RULE = "rectangular components and the rest"
ONE_RULE = "one rectangular component"
TWO_RULE = "two rectangular components"


def coverage(budget: Budget, *, probability: float = PROBABILITY) -> Coverage:
    """The interval ± U that holds the result with this probability.

    The three largest rectangular components are convolved with the rest as a normal, whatever their
    shares: with one or two that dominate it is the factor of EA-4/02, with none that of Student's
    t, and there is no step between. Raises BadArgument for a probability outside 0 to 1, or so
    small that nothing is covered.
    """
    share("probability", probability)
    if probability < LEAST_PROBABILITY:
        raise BadArgument("probability", f"{probability} covers nothing")
    k = student_factor(budget.dof, probability)
    by: Floats = np.full(np.shape(k), T_RULE, dtype=object)
    k, by = _with_rectangles(budget, np.asarray(k), by, probability)
    return Coverage(
        k=float_or_array(k),
        expanded=float_or_array(k * np.asarray(budget.u)),
        by=str(by[()]) if np.ndim(by) == 0 else by,
    )


def student_factor(dof: Floats, probability: float = PROBABILITY) -> Floats:
    """Coverage factor from Student's t, two-sided. Source: JCGM 100:2008, Table G.2 (from memory).

    >>> round(student_factor(16, 0.99), 2)
    2.92
    """
    share("probability", probability)
    known = above_zero("dof", dof, finite=False)
    upper = (1 + probability) / 2
    finite = np.isfinite(known)
    student = special.stdtrit(np.where(finite, known, 1.0), upper)
    return float_or_array(np.where(finite, student, special.ndtri(upper)))


def _with_rectangles(
    budget: Budget, student: np.ndarray, by: Floats, probability: float
) -> tuple[np.ndarray, Floats]:
    """k of the sum where a rectangular component has a part in it."""
    flat = [i for i, c in enumerate(budget.components) if c.shape is Shape.RECTANGULAR]
    if not flat:
        return student, by
    sizes = -np.sort(-np.abs(budget.contributions[flat]), axis=0)
    largest, second, third = (sizes[n] if n < len(flat) else 0 * sizes[0] for n in range(3))
    total = np.asarray(budget.u) ** 2
    rest = np.sqrt(np.maximum(total - largest**2 - second**2 - third**2, 0))
    some = largest > NO_PART * np.asarray(budget.u)
    if not some.any():
        return student, by
    # Heavier tails of a rest from few repeats are met by a wider normal.
    tail = student_factor(_dof_of_rest(budget, rest), probability) / special.ndtri(
        (1 + probability) / 2
    )
    three = (largest[some], second[some], third[some])
    half = _half_width(three, (rest * tail)[some], probability)
    k = student.copy()
    # A rectangle has no tails: it never asks for more than Student's factor does.
    k[some] = np.minimum(half / np.asarray(budget.u)[some], student[some])
    return k, np.where(some, _rule(largest, second, total, k - student), by)


def _rule(
    largest: np.ndarray, second: np.ndarray, total: np.ndarray, off: np.ndarray
) -> np.ndarray:
    """What k rests on, in words; off: from Student's factor."""
    one = np.sqrt(np.maximum(total - largest**2, 0)) <= DOMINANCE * largest
    rest = np.sqrt(np.maximum(total - largest**2 - second**2, 0))
    two = (rest <= DOMINANCE * np.hypot(largest, second)) & (second > 0)
    some = np.where(np.abs(off) < SHOWN, T_RULE, SUM_RULE)
    return np.where(one, ONE_RULE, np.where(two, TWO_RULE, some)).astype(object)


def _dof_of_rest(budget: Budget, rest: np.ndarray) -> Floats:
    """Rectangular components have no tails to widen, so only those from repeats limit the rest."""
    share = np.divide(rest, budget.u, out=np.zeros_like(rest), where=np.asarray(budget.u) > 0)
    dof = np.asarray(budget.dof)
    finite = np.isfinite(dof)
    return np.where(finite, np.maximum(np.where(finite, dof, 1.0) * share**4, 1.0), np.inf)


def _half_width(
    rectangles: tuple[np.ndarray, np.ndarray, np.ndarray], rest: np.ndarray, probability: float
) -> np.ndarray:
    """Half-width that holds the sum of three rectangles and a normal, by false position.

    rectangles: the largest first; rest: standard uncertainties all.
    """
    largest, second, third = rectangles
    a, b = math.sqrt(3) * largest, math.sqrt(3) * np.maximum(second, 1e-6 * largest)
    c, sigma = math.sqrt(3) * third, np.maximum(rest, 1e-9 * largest)
    places = c * _PLACES.reshape(-1, *(1,) * c.ndim)

    def short(half: np.ndarray) -> np.ndarray:
        below = np.tensordot(_SHARES, _below(half + places, a, b, sigma), axes=1)
        return np.asarray(probability - (2 * below - 1))

    # There the normal alone would be held, were all rectangles at their ends.
    low, high = np.zeros_like(a), a + b + c + special.ndtri((1 + probability) / 2) * sigma
    at_low, at_high = np.full_like(a, probability), short(high)
    was_low = np.zeros(a.shape, dtype=bool)
    for turn in range(FALSE_POSITIONS):
        middle = low + (high - low) * at_low / np.maximum(at_low - at_high, 1e-300)
        at_middle = short(middle)
        is_low = at_middle > 0
        # An end that stays twice counts half (the Illinois rule), so that both come near.
        stays = np.where((is_low == was_low) & (turn > 0), 0.5, 1.0)
        at_high = np.where(is_low, at_high * stays, at_middle)
        at_low = np.where(is_low, at_middle, at_low * stays)
        low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
        was_low = is_low
    return middle


def _below(x: np.ndarray, a: np.ndarray, b: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """P(sum ≤ x): the normal integrated twice, differenced over both rectangles."""

    def twice(z: np.ndarray) -> np.ndarray:
        t = z / sigma
        density = np.exp(-(t**2) / 2) / math.sqrt(2 * math.pi)
        return ((z**2 + sigma**2) * special.ndtr(t) + z * sigma * density) / 2

    corners = twice(x + a + b) - twice(x + a - b) - twice(x - a + b) + twice(x - a - b)
    return corners / (4 * a * b)
