"""Rate of each instrument of a fleet, and when its band meets the tolerance.

Visits and instruments as in wander.py; errors in % of span, time in years.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.blocks import concatenate, map_blocks
from calibration.metrology.crossing import HORIZON
from calibration.metrology.drift import CannotFit
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.moments import Moments
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import limits_size

GRID = np.r_[0.0, np.geomspace(0.1, HORIZON, 20)]


@dataclass(frozen=True)
class Forecast:
    """One place an instrument.

    rate, low, high: % of span a year with the 95 % interval. own_weight: share of the rate that is
    its own; the rest is the family's. meets: years after the last visit until the 95 % band of the
    next as found meets ± tolerance; 0: at once; inf: not within the horizon. dated: False where
    two visits and no family say too little for any day; ``meets`` is then inf.
    """

    rate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    own_weight: np.ndarray
    meets: np.ndarray
    dated: np.ndarray


@limits_size("u_next")
def forecast(of: Outlook, tolerance: ArrayLike, u_next: ArrayLike) -> Forecast:
    """Forecasts of all instruments.

    tolerance: half-width, % of span; u_next: standard uncertainty of the coming reading; one, or
    one place an instrument. Raises CannotFit for a tolerance not above zero, or u_next below zero.
    """
    half = np.broadcast_to(checked_tolerance(tolerance), len(of))
    u = np.asarray(u_next, dtype=float)
    if not (np.isfinite(u) & (u >= 0)).all():
        raise CannotFit("u_next", "it must be a number not below zero")
    u = np.broadcast_to(u, len(of))
    known = of.moments
    return concatenate(
        map_blocks(
            lambda part: _forecast(of.columns(part), known.columns(part), half[part], u[part]),
            len(of),
        )
    )


def is_dated(of: Outlook) -> np.ndarray:
    """Where there is enough to give days: more than two visits, or a family (N)."""
    return (of.visits > 2) | (of.others >= FEWEST_OTHERS)


def _forecast(of: Outlook, known: Moments, half: np.ndarray, u: np.ndarray) -> Forecast:
    rate = of.rate()
    dated = is_dated(of)
    meets = np.where(dated, _meets(known.read_with(u), half), np.inf)
    return Forecast(rate.centre, rate.lower, rate.upper, of.own_weight, meets, dated)


def _meets(of: Moments, half: np.ndarray) -> np.ndarray:
    """When |centre| + half-width first rises to the tolerance, years.

    A grid names the span of time, halving the day.
    """
    grid = of.beyond(GRID[:, None], half)
    place, never = grid.argmax(axis=0), ~grid.any(axis=0)
    low, high = GRID[np.maximum(place - 1, 0)], GRID[place]
    for _ in range(12):  # to within a day
        middle = (low + high) / 2
        out = of.beyond(middle, half)
        low, high = np.where(out, low, middle), np.where(out, middle, high)
    return np.where(never, np.inf, high)
