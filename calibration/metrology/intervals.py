"""Proposals of the next interval by drift, with their reasons.

The drift rule takes the longest interval for which the next as found is likely enough to be in
tolerance (longest_interval.py). Each lengthening is limited, shortening never. A proposal carries
its numbers, and its reason as parts that a page puts into words.
Source: ILAC-G24:2022 / OIML D 10:2022 for the types of method (from memory); the drift rule is
derived for this book.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.blocks import map_blocks
from calibration.metrology.crossing import probability_ever_out
from calibration.metrology.longest_interval import LOWER, UPPER, Longest, longest
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import BadArgument, limits_size

LENGTHEN = 2.0  # times the present interval, at most, each time


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


@limits_size("tolerance", "u_next", "upper", "current")
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

    Raises BadArgument as ``longest`` does, for a current interval not above zero, or ``lengthen``
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
        _as_found(of, years, wanted, tolerance, u_next, target),
        target,
        lower,
        upper,
    )


def _as_found(
    of: Outlook,
    years: np.ndarray,
    wanted: Longest,
    tolerance: ArrayLike,
    u_next: ArrayLike,
    target: float,
) -> np.ndarray:
    """Probability at the end of ``years``; where these are as wanted it is the target."""
    likely = np.full(len(of), target)
    at = np.flatnonzero((years < wanted.years) | ~wanted.reached | wanted.capped)
    if at.size:
        half, u = (np.broadcast_to(np.asarray(c, float), len(of)) for c in (tolerance, u_next))
        likely[at] = as_found_probability(of.columns(at), years[at], half[at], u[at])
    return likely


@limits_size("tolerance", "u_next", "ahead")
def as_found_probability(
    of: Outlook, ahead: ArrayLike, tolerance: ArrayLike, u_next: ArrayLike
) -> np.ndarray:
    """Outlook.probability_in of many instruments, a time each (N)."""
    n = len(of)
    columns = [np.broadcast_to(np.asarray(c, dtype=float), n) for c in (ahead, tolerance, u_next)]
    parts = map_blocks(lambda part: of.columns(part).probability_in(*(c[part] for c in columns)), n)
    return np.concatenate(parts)


def shortened(by_end: Proposals, at: np.ndarray, found: Longest) -> tuple[Proposals, np.ndarray]:
    """The same, those at the places ``at`` no longer than ``found``; and where it decided (N).

    found: one place for each of ``at``; when the chance of passing falls to the target, within the
    same bounds. as_found stays that of the end alone.
    """
    decided = np.zeros(len(by_end.years), dtype=bool)
    decided[at] = ~found.capped & (found.years < by_end.years[at])
    years, wanted, reached = by_end.years.copy(), by_end.wanted.copy(), by_end.reached.copy()
    years[at] = np.minimum(years[at], found.years)
    wanted[at] = np.minimum(wanted[at], found.years)
    reached[at] &= found.reached
    made = replace(
        by_end,
        years=years,
        wanted=wanted,
        reached=reached,
        capped=by_end.capped & ~decided,
        lengthening_cut=by_end.lengthening_cut & ~decided,
        as_found=by_end.as_found.copy(),
    )
    return made, decided


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
