"""The first time at which the chance of passing is too low to rely on a reading.

The as-found reading of one end decides, as in longest_interval.py. Source: derived for this book.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.longest_interval import longest
from calibration.metrology.wander import Outlook

FIRST, LAST = 1 / 365.25, 10.0  # years after the last visit between which it is looked for


def first_below(
    of: Outlook, tolerance: ArrayLike, u_next: ArrayLike, floor: ArrayLike
) -> np.ndarray:
    """Years after the last visit at which P(next as found in tolerance) first falls below ``floor``
    (N places, each between 0 and 1); 0 where it is below at once, inf where it never is within
    LAST years. Raises BadArgument as ``longest`` does.
    """
    n = len(of)
    floors = np.broadcast_to(np.asarray(floor, dtype=float), n)
    half = np.broadcast_to(np.asarray(tolerance, dtype=float), n)
    u = np.broadcast_to(np.asarray(u_next, dtype=float), n)
    years = np.full(n, np.inf)
    for one in np.unique(floors):
        at = np.flatnonzero(floors == one)
        some = of if at.size == n else of.columns(at)
        found = longest(some, half[at], u[at], target=float(one), lower=FIRST, upper=LAST)
        years[at] = np.where(found.reached, np.where(found.capped, np.inf, found.years), 0.0)
    return years
