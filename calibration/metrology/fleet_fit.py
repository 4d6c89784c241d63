"""A fleet judged as the nightly pass does: families fitted, jumps flagged, forecasts checked.

Two fits serve two ends. Whether an increment needs a cause is judged by the fit without what is
suspicious, lest a jump hide itself in the scatter it makes. What is forecast goes by the fit of
all increments: jumps came in this family, and will come. Where the family's own forecasts still
held less often than they promise, all that is forecast is widened until they would have held.
Source: derived for this book; shares by simulation (tests/bench/coverage.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from calibration.metrology.backtest import Backtest, backtest
from calibration.metrology.histories import Histories
from calibration.metrology.jumps import Jumps, fit_without_jumps, flag_jumps
from calibration.metrology.wander import Prior
from plant.level.checks import not_below_zero, takes_numbers

SAMPLE = 250  # members to which a family is fitted; of a larger one they stand for all
PROMISED = 0.95
# Forecasts that held as promised, counted beside the family's own: a few prove little.
BELIEVED = 40.0


@dataclass(frozen=True)
class FleetFit:
    """N instruments after their families.

    prior: by which each is forecast. jumps: as flagged. flags: K by N, those that need a cause.
    histories: without them, of a bad reading without both increments. fitted: places of those to
    which the families were fitted. forecasts: of their as founds from the visits before.
    """

    prior: Prior
    jumps: Jumps
    flags: np.ndarray
    histories: Histories
    fitted: np.ndarray
    forecasts: Backtest


@takes_numbers("family")
def fit_fleet(
    histories: Histories,
    family: ArrayLike,
    tolerance: ArrayLike,
    *,
    counted: ArrayLike = False,
    together: ArrayLike | None = None,
) -> FleetFit:
    """Fit the families, flag jumps, and widen what did not hold.

    family, tolerance: as in fit_families, N. counted: K by N, increments of which a person has
    said that they count. together: N; whose forecasts are checked together, if not by family.
    Raises CannotFit as fit_families does.
    """
    member = np.asarray(family)
    some = _sample(member)
    half = np.broadcast_to(np.asarray(tolerance, dtype=float), member.shape)
    fits = fit_without_jumps(histories.columns(some), member[some], half[some])
    whole, calm = (_of_members(prior, member) for prior in fits)
    jumps = flag_jumps(histories, calm)
    flags = jumps.flags & ~np.asarray(counted)
    forecasts = backtest(histories.columns(some), whole.of(some))  # jumps too: they came
    groups = np.unique(member if together is None else together, return_inverse=True)[1]
    widened = np.where(whole.others > 0, _widening_of(forecasts, groups[some])[groups], 1.0)
    return FleetFit(
        replace(whole, widening=widened),
        jumps,
        flags,
        histories.without(_both(flags, jumps)),
        some,
        forecasts,
    )


def widening(held: ArrayLike, made: ArrayLike) -> np.ndarray:
    """By what to widen forecasts of which so many were made, and so many held: at least 1."""
    of, all_made = not_below_zero("held", held), not_below_zero("made", made)
    share = (of + PROMISED * BELIEVED) / (all_made + BELIEVED)
    share = np.minimum(share, PROMISED)
    return np.asarray(ndtri(0.5 + PROMISED / 2) / ndtri(0.5 + share / 2))


def _widening_of(forecasts: Backtest, groups: np.ndarray) -> np.ndarray:
    """One place a group."""
    held, made = (
        np.bincount(groups, weights=marks.sum(axis=0))
        for marks in (forecasts.inside(PROMISED), forecasts.tested)
    )
    return widening(held, made)


def _sample(family: np.ndarray) -> np.ndarray:
    """Places of some members of each family, evenly taken."""
    order = np.argsort(family, kind="stable")
    first = np.searchsorted(family[order], np.arange(family.max() + 2))
    some = [
        order[low + np.arange(min(high - low, SAMPLE)) * (high - low) // min(high - low, SAMPLE)]
        for low, high in pairwise(first.tolist())
        if high > low
    ]
    return np.sort(np.concatenate(some))


def _of_members(fitted: Prior, family: np.ndarray) -> Prior:
    """One place an instrument; others: of the whole family, not of the sample."""
    is_fitted = fitted.others > 0
    return replace(fitted, others=np.where(is_fitted, np.bincount(family) - 1, 0)).of(family)


def _both(flags: np.ndarray, jumps: Jumps) -> np.ndarray:
    """These increments; of a bad reading both, there and back."""
    both = flags.copy()
    both[1:] |= flags[:-1] & jumps.returns[:-1]
    return both
