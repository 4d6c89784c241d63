"""When an instrument will be out of tolerance: on a day, by a day, and the crossing days.

Two questions, not one: is it out on day t, and has it ever been out by then? For steady drift they
agree; for a random walk the second is up to twice the first. A walk with a rate that is itself
uncertain meets one limit by the reflection of paths; both limits are added, which overstates what
is already rare.
Source: derived for this book (first passage of Brownian motion with drift, averaged over a normal
rate).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr, ndtr

from calibration.metrology.drift import CannotFit
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.wander import Outlook, checked_tolerance
from plant.level.checks import limits_size, takes_numbers

HORIZON = 10.0  # years; beyond it no day is named
GRID = np.linspace(0.0, HORIZON, 131)  # about a month apart; each passing is then refined
OUT_AT = (0.025, 0.5, 0.975)
_POINTS, _SHARES = np.polynomial.hermite_e.hermegauss(9)
_SHARES = _SHARES / _SHARES.sum()


def ever_beyond(
    gap: np.ndarray, rate: np.ndarray, rate_variance: np.ndarray, q: np.ndarray, years: np.ndarray
) -> np.ndarray:
    """Probability that a walk from a known start has passed a limit within ``years``.

    gap: of the limit above the start. The rate towards the limit is normal. q = 0: steady drift,
    which is beyond by t only if it is beyond at t. Shapes broadcast.
    """
    sd = np.sqrt(np.maximum(q * years + rate_variance * years**2, 1e-300))
    direct = ndtr((rate * years - gap) / sd)
    safe = np.where(q > 0, q, 1.0)
    k = np.where(q > 0, 2 * np.maximum(gap, 0.0) / safe, 0.0)
    reflected = k * rate + k * k * rate_variance / 2
    reflected = reflected + log_ndtr((-gap - (rate + rate_variance * k) * years) / sd)
    back = np.where(q > 0, np.exp(np.minimum(reflected, 0.0)), 0.0)
    return np.where(gap <= 0, 1.0, np.minimum(direct + back, 1.0))


@limits_size("ahead", "tolerance")
def probability_ever_out(of: Outlook, ahead: ArrayLike, tolerance: ArrayLike) -> np.ndarray:
    """Probability that the true error was beyond ± tolerance at some time up to ``ahead``.

    ahead: years after the last visit; shapes as in Outlook.probability_in. The level today is not
    exactly known: nine points stand for it, each with the rate that goes with it. Raises CannotFit
    for years below zero.
    """
    t = np.asarray(ahead, dtype=float)
    if not ((t >= 0) & np.isfinite(t)).all():
        raise CannotFit("ahead", "years ahead must be numbers not below zero")
    t = t[..., None, :] if t.ndim else t
    half = checked_tolerance(tolerance)
    means, variances = of.levels, of.level_variances
    tie = of.ties / variances
    # Where the rate itself changes, its mean until then does so by a third of that variance.
    rest = np.maximum(of.rate_variances - tie**2 * variances, 0.0) + of.changes * t / 3
    total = np.zeros(np.broadcast_shapes(t.shape, means.shape))
    for point, share in zip(_POINTS, _SHARES, strict=True):
        off = np.sqrt(variances) * point
        rate = of.rates + tie * off
        above = ever_beyond(half - means - off, rate, rest, of.q, t)
        below = ever_beyond(half + means + off, -rate, rest, of.q, t)
        total += share * np.minimum(above + below, 1.0)
    return (of.weights * total).sum(axis=-2)


@dataclass(frozen=True)
class Crossings:
    """Years after the last visit, one place an instrument; inf: not within the horizon.

    0: beyond it already.
    line, band: when the expected true error, and the band of the next as found, meet ± tolerance.
    out: 3 by N; when the probability of being out on the day passes 2.5, 50 and 97.5 %: the
    interval of the crossing.
    dated: False where two visits and no family say too little for any day; all figures are then
    inf.
    borrowed: the rate is more the family's than the instrument's own.
    """

    line: np.ndarray
    band: np.ndarray
    out: np.ndarray
    dated: np.ndarray
    borrowed: np.ndarray


@takes_numbers("tolerance", "u_next")
def crossings(
    of: Outlook, tolerance: ArrayLike, u_next: ArrayLike, confidence: float = 0.95
) -> Crossings:
    """When each instrument meets its tolerance.

    tolerance: half-width, % of span. u_next: standard uncertainty of the coming reading.
    """
    half = checked_tolerance(tolerance)

    def reach(ahead: np.ndarray) -> np.ndarray:
        band = of.next_as_found(ahead, u_next, confidence)
        return np.maximum(band.upper, -band.lower) - half

    def out(ahead: np.ndarray) -> np.ndarray:
        return 1 - of.probability_in(ahead, half)

    dated = (of.visits > 2) | (of.others >= FEWEST_OTHERS)
    figures = [_line_meets(of, half), *_first_days(reach, (0.0,)), *_first_days(out, OUT_AT)]
    line, band, *days = (np.where(dated, f, np.inf) for f in figures)
    return Crossings(line, band, np.array(days), dated, of.borrowed)


def _line_meets(of: Outlook, half: np.ndarray) -> np.ndarray:
    now, rate = (of.weights * of.levels).sum(axis=0), (of.weights * of.rates).sum(axis=0)
    moving = np.where(rate == 0, 1.0, rate)
    meets = np.where(rate == 0, np.inf, (np.copysign(half, moving) - now) / moving)
    meets = np.where(np.abs(now) >= half, 0.0, meets)
    return np.where(meets > HORIZON, np.inf, meets)


def _first_days(
    value: Callable[[np.ndarray], np.ndarray], levels: tuple[float, ...]
) -> list[np.ndarray]:
    """For each level, when ``value`` first rises to it: a grid names the month, halving the day."""
    grid = value(GRID[:, None])
    days = []
    for level in levels:
        passed = grid >= level
        first = passed.argmax(axis=0)
        low, high = GRID[np.maximum(first - 1, 0)], GRID[first].copy()
        for _ in range(40):
            middle = (low + high) / 2
            beyond = value(middle) >= level
            low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
        days.append(np.where(passed.any(axis=0), high, np.inf))
    return days
