"""How far a mean error curve bends, and all the figures of a test together.

Errors are in % of output span. Sources: TRM-01 and TRM-02, after the terms of ISA-51.1 and IEC
61298-2 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.errors import (
    END_ROOM,
    SAME_POINT_DIGITS,
    Figures,
    figures,
    repeatability,
)
from plant.level.checks import BadArgument, limits_size, takes_numbers, whole_numbers


@dataclass(frozen=True)
class Linearity:
    """How far the mean error curve bends, % of span; NaN where the points do not show it.

    terminal_based: largest deviation from the line through the first and the last point.
    zero_based: from the line through the first point whose slope makes it least. independent:
    from the line, free in both, that makes it least (the true minimax line, no least squares).
    slopes: change of error over the whole span along that line.
    offset: error of the independent line at 0 %.
    """

    terminal_based: Any
    zero_based: Any
    zero_based_slope: Any
    independent: Any
    independent_slope: Any
    independent_offset: Any


@limits_size("applied_percent", "errors")
def linearity(applied_percent: ArrayLike, errors: ArrayLike) -> Linearity:
    """Non-linearity of mean error curves: one curve along the last axis, any fleet before it.

    applied_percent, errors: % of span, one place a point; NaN in errors where a curve has no such
    point. Points need no order. Three points at least, else nothing is known of a bend;
    terminal-based asks for points within END_ROOM of both ends, zero-based of 0 %. Raises
    BadArgument where shapes differ or no curve has a point.

    >>> bent = linearity([0, 25, 50, 75, 100], [0, 0.75, 1, 0.75, 0])
    >>> bent.terminal_based, bent.independent, round(bent.zero_based, 6)
    (1.0, 0.5, 0.666667)
    """
    x = np.asarray(applied_percent, dtype=float).round(SAME_POINT_DIGITS)
    y = np.asarray(errors, dtype=float)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise BadArgument("applied_percent", "there is no point")
    if np.isinf(x).any() or np.isinf(y).any():
        raise BadArgument("applied_percent, errors", "one of them is infinite")
    x, y = np.broadcast_arrays(x, y)
    x = np.where(np.isnan(y), np.nan, x)
    order = np.argsort(x, axis=-1)  # NaN goes last
    x, y = np.take_along_axis(x, order, axis=-1), np.take_along_axis(y, order, axis=-1)
    known = ~np.isnan(x)
    count = known.sum(axis=-1)
    last = np.maximum(count - 1, 0)[..., None]
    x_end, y_end = (np.take_along_axis(a, last, axis=-1)[..., 0] for a in (x, y))
    enough = count >= 3
    at_zero = enough & (np.abs(x[..., 0]) <= END_ROOM)
    at_both = at_zero & (np.abs(x_end - 100) <= END_ROOM)
    run, rise = x - x[..., :1], y - y[..., :1]
    with np.errstate(invalid="ignore", divide="ignore"):
        terminal = _widest(rise - run * ((y_end - y[..., 0]) / (x_end - x[..., 0]))[..., None])
    zero_slope, zero_width = _through_first(run, rise)
    slope, half, middle = _minimax(x, y)
    return Linearity(
        terminal_based=_where(terminal, at_both),
        zero_based=_where(zero_width, at_zero),
        zero_based_slope=_where(100 * zero_slope, at_zero),
        independent=_where(half, enough),
        independent_slope=_where(100 * slope, enough),
        independent_offset=_where(middle, enough),
    )


def _where(value: np.ndarray, known: np.ndarray) -> Any:
    masked = np.where(known, value, np.nan)
    return float(masked) if masked.ndim == 0 else masked


def _widest(residual: np.ndarray) -> np.ndarray:
    """Largest |residual| of each curve; 0 where it has no point (its result is masked)."""
    widest: np.ndarray = np.fmax.reduce(np.abs(residual), axis=-1, initial=0.0)
    return widest


def _through_first(run: np.ndarray, rise: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slope and largest deviation of the best line through the origin of run and rise.

    The largest |deviation| is convex in the slope and least where a point above and a point below
    are as far off, or, with i = j, where the line meets a point: rise_i − s run_i = −(rise_j − s
    run_j).
    """
    best, width = np.full(run.shape[:-1], np.nan), np.full(run.shape[:-1], np.inf)
    for i in range(1, run.shape[-1]):
        for j in range(1, i + 1):
            total = run[..., i] + run[..., j]
            slope = np.divide(
                rise[..., i] + rise[..., j], total, out=np.full_like(total, np.nan), where=total > 0
            )
            here = _widest(rise - run * slope[..., None])
            better = ~np.isnan(slope) & (here < width)
            best, width = np.where(better, slope, best), np.where(better, here, width)
    return best, width


def _minimax(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Slope, half-width and offset of the narrowest strip that holds each curve.

    An edge of the strip touches two points, so the slopes between all pairs are tried: exact for
    any curve.
    """
    shape = x.shape[:-1]
    best, offset = np.full(shape, np.nan), np.full(shape, np.nan)
    half = np.full(shape, np.inf)
    for i in range(1, x.shape[-1]):
        for j in range(i):
            gap = x[..., i] - x[..., j]
            slope = np.divide(
                y[..., i] - y[..., j], gap, out=np.full_like(gap, np.nan), where=gap > 0
            )
            residual = y - x * slope[..., None]
            high = np.fmax.reduce(residual, axis=-1)
            low = np.fmin.reduce(residual, axis=-1)
            better = (high - low) / 2 < half
            half = np.where(better, (high - low) / 2, half)
            best, offset = np.where(better, slope, best), np.where(better, (high + low) / 2, offset)
    return best, half, offset


@takes_numbers("applied_percent", "errors")
def mean_curve(
    applied_percent: ArrayLike, errors: ArrayLike, rising: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """Points of one test in order, and at each the mean of its mean rising and mean falling error.

    Where a point was approached from one side only, the mean of that side. All in % of span.

    >>> errors, rising = [0.0, 0.1, 0.1, 0.5], [True, True, True, False]
    >>> [c.tolist() for c in mean_curve([0, 50, 50, 50], errors, rising)]
    [[0.0, 50.0], [0.0, 0.3]]
    """
    count = np.size(errors)
    points, means = mean_curves(
        np.zeros(count, dtype=int), applied_percent, errors, rising, records=1
    )
    return points[0], means[0]


@limits_size("applied_percent", "errors")
def mean_curves(
    record: ArrayLike,
    applied_percent: ArrayLike,
    errors: ArrayLike,
    rising: ArrayLike,
    *,
    records: int,
) -> tuple[np.ndarray, np.ndarray]:
    """mean_curve of many tests: points and means, each (records, most points of any).

    NaN where a test has fewer points. record: which record each reading belongs to, 0 to records −
    1, in any order; errors must be numbers.
    """
    owner = whole_numbers("record", record, below=float(whole_numbers("records", records)))
    point = np.asarray(applied_percent, dtype=float).round(SAME_POINT_DIGITS)
    error, up = np.asarray(errors, dtype=float), np.asarray(rising, dtype=bool)
    cells, cell = np.unique(np.column_stack((owner, point)), axis=0, return_inverse=True)
    sides = [_mean_of(cell.ravel()[side], error[side], len(cells)) for side in (up, ~up)]
    both = np.where(
        np.isnan(sides[0]), sides[1], np.where(np.isnan(sides[1]), sides[0], sum(sides) / 2)
    )
    cell_owner = cells[:, 0].astype(int)
    each = np.bincount(cell_owner, minlength=records)
    place = np.arange(len(cells)) - (np.cumsum(each) - each)[cell_owner]
    points, means = (np.full((records, max(each.max(initial=0), 1)), np.nan) for _ in range(2))
    points[cell_owner, place], means[cell_owner, place] = cells[:, 1], both
    return points, means


def _mean_of(cell: np.ndarray, value: np.ndarray, cells: int) -> np.ndarray:
    count = np.bincount(cell, minlength=cells)
    total = np.bincount(cell, weights=value, minlength=cells)
    return np.divide(total, count, out=np.full(cells, np.nan), where=count > 0)


@dataclass(frozen=True)
class FullFigures:
    """All figures of one test; None or NaN where the readings do not show one."""

    figures: Figures
    linearity: Linearity
    repeatability: float | None


@limits_size("applied_percent", "errors", "run")
def full_figures(
    applied_percent: ArrayLike, errors: ArrayLike, rising: ArrayLike, run: ArrayLike
) -> FullFigures:
    """Everything about one test; arguments and refusals as in figures."""
    summed = figures(applied_percent, errors, rising, run)
    return FullFigures(
        figures=summed,
        linearity=linearity(*mean_curve(applied_percent, errors, rising)),
        repeatability=repeatability(applied_percent, errors, rising),
    )
