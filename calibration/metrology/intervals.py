"""The next interval: by a staircase, or by the probability that the next as found is in tolerance.

The drift rule takes the longest interval for which that probability reaches the target: of the
as-found reading, since later visits can check it. Each lengthening is limited, shortening never. A
proposal carries its numbers, and its reason as parts that a page puts into words.
Source: ILAC-G24:2022 / OIML D 10:2022 for the types of method (from memory); the drift rule is
derived for this book.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from calibration.metrology.crossing import probability_ever_out
from calibration.metrology.drift import CannotFit
from calibration.metrology.histories import by_blocks, joined
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import BadArgument, share

LOWER, UPPER = 0.25, 5.0  # years
LENGTHEN = 2.0  # times the present interval, at most, each time
LONGER = 0.1  # staircase: lengthen by this share when found in tolerance
_SEARCH = 16  # places between the bounds at which the rough answer looks
_EXACT = 96  # the same where the rough answer did not lead there
_PARTS, _TIMES = 16, 8  # then the span between two places is parted so many times


# ---- staircase ----
def staircase(
    current: float, in_tolerance: bool, *, longer: float = LONGER, shorter: float
) -> float:
    """Next interval, in the unit of ``current``.

    Times 1 + longer where the instrument was in tolerance as found, else times 1 − shorter. Raises
    BadArgument for a current interval or ``longer`` not above zero, or ``shorter`` outside 0 to 1.

    >>> round(staircase(12, True, longer=0.1, shorter=0.55), 9)
    13.2
    """
    if not (math.isfinite(current) and current > 0):
        raise BadArgument("current", f"{current} is not above zero")
    _check_changes(longer, shorter)
    return current * (1 + longer if in_tolerance else 1 - shorter)


def staircase_target(longer: float, shorter: float) -> float:
    """Share in tolerance at which the staircase settles: (1 + longer)^R (1 − shorter)^(1 − R) = 1.

    Raises BadArgument as staircase.

    >>> round(staircase_target(0.1, 0.55), 3)
    0.893
    """
    _check_changes(longer, shorter)
    up, down = math.log1p(longer), math.log1p(-shorter)
    return -down / (up - down)


def _check_changes(longer: float, shorter: float) -> None:
    if not (math.isfinite(longer) and longer > 0):
        raise BadArgument("longer", f"{longer} is not above zero")
    if not 0 < shorter < 1:
        raise BadArgument("shorter", f"{shorter} is not between 0 and 1")


# ---- drift ----
class Longest(NamedTuple):
    """The longest interval that reaches the target, within the bounds; one place an instrument.

    reached: False where not even the shortest interval reaches it. capped: the target is still
    reached at the upper bound.
    """

    years: np.ndarray
    reached: np.ndarray
    capped: np.ndarray


def longest(
    of: Outlook,
    tolerance: ArrayLike,
    u_next: ArrayLike,
    *,
    target: float = 0.95,
    lower: float = LOWER,
    upper: float = UPPER,
) -> Longest:
    """First time after the lower bound at which P(next as found in tolerance) falls below target.

    N places. P may rise before it falls, so the first fall counts, not the last. Raises
    BadArgument for a target outside 0 to 1, bounds that are not 0 < lower < upper, or a tolerance
    not above zero.
    """
    share("target", target)
    if not (0 < lower < upper and math.isfinite(upper)):
        raise BadArgument(
            "lower, upper", f"{lower} and {upper} years are not in rising order above 0"
        )
    half = np.broadcast_to(checked_tolerance(tolerance), len(of))
    u = np.broadcast_to(np.asarray(u_next, dtype=float), len(of))
    if not (np.isfinite(u) & (u >= 0)).all():
        raise CannotFit("u_next", "it must be a number not below zero")
    return joined(
        by_blocks(
            lambda part: _longest(of.columns(part), half[part], u[part], target, lower, upper),
            len(of),
        )
    )


def _longest(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, lower: float, upper: float
) -> Longest:
    reached = of.probability_in(lower, half, u) >= target
    rough = _rough(of, half, u, target, np.geomspace(lower, upper, _SEARCH))
    years, arrived = _sharpen(of, half, u, target, rough)
    # Mixture and normal agree that it never falls: no need to look closer.
    capped = np.isnan(rough)
    if capped.any():
        at = np.flatnonzero(capped)
        capped[at] = of.columns(at).probability_in(upper, half[at], u[at]) >= target
    years = np.where(capped, upper, years)
    open_ = reached & ~capped & ~(arrived & (years >= lower) & (years <= upper))
    if open_.any():
        at = np.flatnonzero(open_)
        years[at], capped[at] = _by_parting(
            of.columns(at), half[at], u[at], target, np.geomspace(lower, upper, _EXACT)
        )
    return Longest(np.where(reached, years, lower), reached, capped)


def _rough(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, grid: np.ndarray
) -> np.ndarray:
    """The answer for one normal of the mixture's mean and variance.

    NaN where it never falls below the target. Mean and variance of the mixture are a line and a
    parabola in time, so that no value of q is looked at again.
    """
    w, rates = of.weights, of.rates
    means, variances = of.parts(0.0)
    m0, m1 = (w * means).sum(axis=0), (w * rates).sum(axis=0)
    off0, off1 = means - m0, rates - m1
    tie = of.carried.carry_years * of.rate_variances
    v0 = (w * (variances + off0**2)).sum(axis=0) + u**2
    v1 = (w * (of.q + 2 * (tie + off0 * off1))).sum(axis=0)
    v2 = (w * (of.rate_variances + off1**2)).sum(axis=0)

    def inside(h: np.ndarray) -> np.ndarray:
        sd, mean = np.sqrt(v0 + h * (v1 + h * v2)), m0 + m1 * h
        return ndtr((half - mean) / sd) - ndtr((-half - mean) / sd)

    place = np.full(len(of), len(grid))
    for k in range(len(grid) - 1, 0, -1):
        place[inside(grid[k]) < target] = k
    falls = place < len(grid)
    low, high = grid[np.minimum(place, len(grid) - 1) - 1], grid[np.minimum(place, len(grid) - 1)]
    for _ in range(4):
        middle = (low + high) / 2
        below = inside(middle) < target
        low, high = np.where(below, low, middle), np.where(below, middle, high)
    return np.where(falls, (low + high) / 2, np.nan)


def _sharpen(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, rough: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Secant iterations on the exact mixture, and which have arrived.

    In normal quantiles, where it is nearly straight.
    """
    years = np.where(np.isnan(rough), 1.0, rough)
    aim = ndtri(target)

    def miss(h: np.ndarray, at: np.ndarray | slice) -> np.ndarray:
        likely = of.columns(at).probability_in(h, half[at], u[at])
        return np.asarray(ndtri(np.clip(likely, 1e-12, 1 - 1e-12)) - aim)

    every = slice(None)
    before, at_before = years.copy(), miss(years, every)
    years = years * np.clip(1 + 0.5 * at_before, 0.7, 1.3)
    arrived = np.zeros(len(of), dtype=bool)
    going: np.ndarray | slice = every
    for _ in range(5):
        now = miss(years[going], going)
        moved = now != at_before[going]
        by = np.where(moved, now - at_before[going], 1.0)
        step = np.where(moved, now * (years[going] - before[going]) / by, 0.0)
        before[going], at_before[going] = years[going], now
        years[going] = np.clip(years[going] - step, 0.5 * years[going], 2 * years[going])
        # The last iteration squared the error before it.
        arrived = (np.abs(at_before) < 1e-5) & (np.abs(years - before) < 1e-4)
        going = np.flatnonzero(~arrived & ~np.isnan(rough))
        if not going.size:
            break
    return years, arrived & ~np.isnan(rough)


def _by_parting(
    of: Outlook, half: np.ndarray, u: np.ndarray, target: float, grid: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The slow and certain way: exact values along a grid, then parting.

    And where it never falls below the target.
    """
    below = of.probability_in(grid[:, None], half, u) < target
    place = np.maximum(below.argmax(axis=0), 1)
    low, high = grid[place - 1], grid[place]
    shares = np.arange(1, _PARTS)[:, None] / _PARTS
    for _ in range(_TIMES):
        cuts = np.vstack([low + (high - low) * shares, high])
        falls = of.probability_in(cuts[:-1], half, u) < target
        first = np.where(falls.any(axis=0), falls.argmax(axis=0), _PARTS - 1)
        along = np.arange(len(first))
        low, high = np.where(first > 0, cuts[first - 1, along], low), cuts[first, along]
    capped = np.asarray(~below.any(axis=0))
    return np.where(capped, grid[-1], high), capped


# ---- a proposal and its reason ----
class Reason(NamedTuple):
    """One part of a reason: what it says, and the numbers it says it with."""

    says: str
    numbers: dict[str, float]


@dataclass(frozen=True)
class Proposals:
    """One place an instrument. wanted: by the target alone; years: after the limit on lengthening.

    current: years, NaN where there is none yet. reached, capped: as in Longest. lengthening_cut:
    the limit on lengthening decided. as_found: probability of being found in tolerance at the end
    of ``years``.
    """

    years: np.ndarray
    wanted: np.ndarray
    current: np.ndarray
    reached: np.ndarray
    capped: np.ndarray
    lengthening_cut: np.ndarray
    as_found: np.ndarray
    target: float
    lower: float
    upper: float

    @property
    def cut(self) -> np.ndarray:
        """A bound or the limit on lengthening decided, not the target."""
        return ~self.reached | self.capped | self.lengthening_cut

    @property
    def longer(self) -> np.ndarray:
        """Where a duty with a part in safety needs an approval first."""
        return self.years > self.current


def propose(
    of: Outlook,
    tolerance: ArrayLike,
    u_next: ArrayLike,
    *,
    current: ArrayLike = np.nan,
    target: float = 0.95,
    lower: float = LOWER,
    upper: float = UPPER,
    lengthen: float = LENGTHEN,
) -> Proposals:
    """The next interval of each instrument; current: its present interval in years, NaN for none.

    Raises ValueError as ``longest`` does, for a current interval not above zero, or ``lengthen``
    below 1.
    """
    now = np.broadcast_to(np.asarray(current, dtype=float), len(of))
    if (now <= 0).any() or np.isinf(now).any():
        raise BadArgument("current", "an interval must be a number of years above zero")
    if not lengthen >= 1:
        raise BadArgument("lengthen", f"{lengthen} is below 1")
    wanted = longest(of, tolerance, u_next, target=target, lower=lower, upper=upper)
    limit = np.where(np.isnan(now), np.inf, np.maximum(now * lengthen, lower))
    years = np.minimum(wanted.years, limit)
    return Proposals(
        years,
        wanted.years,
        now,
        wanted.reached,
        wanted.capped,
        limit < wanted.years,
        as_found_probability(of, years, tolerance, u_next),
        target,
        lower,
        upper,
    )


def as_found_probability(
    of: Outlook, ahead: ArrayLike, tolerance: ArrayLike, u_next: ArrayLike
) -> np.ndarray:
    """Outlook.probability_in of many instruments, a time each (N)."""
    n = len(of)
    columns = [np.broadcast_to(np.asarray(c, dtype=float), n) for c in (ahead, tolerance, u_next)]
    parts = by_blocks(lambda part: of.columns(part).probability_in(*(c[part] for c in columns)), n)
    return np.concatenate(parts)


def reasons(
    proposals: Proposals, of: Outlook, tolerance: ArrayLike, places: ArrayLike | None = None
) -> list[tuple[Reason, ...]]:
    """Why these intervals, in parts and in their order; of the instruments at ``places``, or of
    all.
    """
    at = np.arange(len(of)) if places is None else np.asarray(places, dtype=int)
    some = of.columns(at)
    half = np.broadcast_to(checked_tolerance(tolerance), len(of))[at]
    rate = some.rate()
    known = {
        "rate": rate.centre,
        "lower": rate.lower,
        "upper": rate.upper,
        "steady": some.weights[0],
        "walk": np.sqrt((some.weights * some.q).sum(axis=0)),
        "own": some.own_weight,
        "borrowed": some.family_weight,
        "true_error": some.probability_in(proposals.years[at], half),
        "others": some.others.astype(float),
        "ever": probability_ever_out(some, proposals.years[at], half),
    }
    for name in ("years", "wanted", "current", "as_found"):
        known[name] = getattr(proposals, name)[at]
    columns = zip(*(values.tolist() for values in known.values()), strict=True)
    return [
        _of_one(proposals, place, dict(zip(known, numbers, strict=True)))
        for place, numbers in zip(at.tolist(), columns, strict=True)
    ]


def _of_one(proposals: Proposals, place: int, p: dict[str, float]) -> tuple[Reason, ...]:
    parts = [_decided(proposals, place, p)]
    if not math.isnan(p["current"]):
        change = "longer" if p["years"] > p["current"] else "shorter"
        change = "unchanged" if math.isclose(p["years"], p["current"], rel_tol=1e-3) else change
        parts.append(Reason(change, _some(p, "current", "years")))
    says = "borrowed from family" if p["others"] else "judged alone"
    return (
        *parts,
        Reason("rate", _some(p, "rate", "lower", "upper")),
        Reason("walk", _some(p, "steady", "walk")),
        Reason(says, _some(p, "others", "own", "borrowed")),
        Reason("ever out by then", {"probability": p["ever"]}),
        Reason("true error in tolerance", {"probability": p["true_error"]}),
        Reason("if no step comes", {}),
    )


def _some(p: dict[str, float], *names: str) -> dict[str, float]:
    return {name: p[name] for name in names}


def _decided(proposals: Proposals, place: int, p: dict[str, float]) -> Reason:
    """What decided the interval: the target, a bound, or the limit on lengthening."""
    numbers = {"target": proposals.target, "probability": p["as_found"], "years": p["years"]}
    if not proposals.reached[place]:
        return Reason("target not reached at lower bound", {**numbers, "lower": proposals.lower})
    if proposals.lengthening_cut[place]:
        return Reason("lengthening limited", {**numbers, "wanted": p["wanted"]})
    if proposals.capped[place]:
        return Reason("upper bound", {**numbers, "upper": proposals.upper})
    return Reason("target", numbers)
