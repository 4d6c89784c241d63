"""Errors of readings, and the figures by which a test as found or as left is summed up.

Errors are in % of output span. A reading in a failure band of NE 43 reports a failure and is no
error value: the caller leaves it out (plant.level.signals.FaultBand.is_failure).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from plant.level.checks import BadArgument, above_zero, limits_size, takes_numbers, whole_numbers

# A lowest (highest) point this far from 0 % (100 %) still speaks for zero (span), in % of span: a
# tank can seldom be emptied or filled to the very end of the range (common practice, no source).
END_ROOM = 5.0
# Applied values that differ by less are one point, % of span: 0.1 of a metre has no exact float.
SAME_POINT_DIGITS = 6
# A change of exactly the smallest that counts may come out a hair below it; in % of span.
SLACK = 1e-9


@takes_numbers("observed", "expected", "signal_span")
def percent_errors(observed: ArrayLike, expected: ArrayLike, *, signal_span: float) -> Any:
    """Errors in % of output span, 100 (observed − expected) / span; shapes broadcast.

    observed, expected: output in mA or V. signal_span: of the output, in the same unit; must be
    above zero. The same rule gives the error of an indication: pass levels (or volumes) and |URV
    − LRV|.

    >>> float(percent_errors(4.02, 4.0, signal_span=16.0).round(9))  # 4.02 mA in an empty tank
    0.125
    """
    span = above_zero("signal_span", signal_span)
    return 100 * (np.asarray(observed, dtype=float) - np.asarray(expected, dtype=float)) / span


@dataclass(frozen=True)
class Figures:
    """Summary of a test, % of span; None where the readings do not show it.

    largest: the error furthest from zero, with its sign. lowest, highest: the most negative and
    most positive error.
    at_zero, at_span: mean error at the lowest (highest) applied point, where that is within
    END_ROOM of 0 % (100 %).
    hysteresis: the largest difference between rising and falling error at one point **within one
    run**, for between runs the product may have warmed; hysteresis_of_means: the same between the
    means of all runs.
    Sources: TRM-01, after the terms of ISA-51.1 and IEC 61298-2 (from memory).
    """

    largest: float
    lowest: float
    highest: float
    at_zero: float | None
    at_span: float | None
    hysteresis: float | None
    hysteresis_of_means: float | None
    n: int


@dataclass(frozen=True)
class FleetFigures:
    """The Figures of many records: one array a figure, one place a record; NaN where not shown."""

    largest: np.ndarray
    lowest: np.ndarray
    highest: np.ndarray
    at_zero: np.ndarray
    at_span: np.ndarray
    hysteresis: np.ndarray
    hysteresis_of_means: np.ndarray
    n: np.ndarray

    def of(self, record: int) -> Figures | None:
        """The figures of one record; None where it has no reading."""
        if self.n[record] == 0:
            return None
        return Figures(
            largest=float(self.largest[record]),
            lowest=float(self.lowest[record]),
            highest=float(self.highest[record]),
            at_zero=_known(self.at_zero[record]),
            at_span=_known(self.at_span[record]),
            hysteresis=_known(self.hysteresis[record]),
            hysteresis_of_means=_known(self.hysteresis_of_means[record]),
            n=int(self.n[record]),
        )


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def figures(
    applied_percent: ArrayLike, errors: ArrayLike, rising: ArrayLike, run: ArrayLike
) -> Figures:
    """Figures of one test; four sequences, one place a reading.

    applied_percent: the applied value in % of span. errors: % of span. rising: True where the
    point was approached from below. run: number of the run. Raises BadArgument where there is no
    reading or an error is not a number.

    >>> rising, runs = [True, True, True, False], [1, 1, 1, 1]
    >>> figures([0, 50, 100, 50], [0.1, 0.2, 0.1, 0.3], rising, runs).largest
    0.3
    """
    count = np.size(errors)
    summary = figures_fleet(
        np.zeros(count, dtype=int), applied_percent, errors, rising, run, records=1
    ).of(0)
    if summary is None:
        raise BadArgument("errors", "there is no reading to sum up")
    return summary


@limits_size("applied_percent", "errors")
def figures_fleet(
    record: ArrayLike,
    applied_percent: ArrayLike,
    errors: ArrayLike,
    rising: ArrayLike,
    run: ArrayLike,
    *,
    records: int,
) -> FleetFigures:
    """Figures of many tests at once; five sequences, one place a reading, as in figures.

    record: which record each reading belongs to, 0 to records − 1, in any order.
    """
    owner = whole_numbers("record", record, below=float(whole_numbers("records", records)))
    point = np.asarray(applied_percent, dtype=float).round(SAME_POINT_DIGITS)
    error, up = np.asarray(errors, dtype=float), np.asarray(rising, dtype=bool)
    runs = whole_numbers("run", run)
    _check(owner, point, error, up, runs)
    lowest, highest = _extremes(owner, error, records)
    first, last = _extremes(owner, point, records)
    return FleetFigures(
        largest=np.where(-lowest > highest, lowest, highest),
        lowest=lowest,
        highest=highest,
        at_zero=_mean_at(owner, point, error, first, near=0.0),
        at_span=_mean_at(owner, point, error, last, near=100.0),
        hysteresis=_largest_difference(owner, up, error, (point, runs), records),
        hysteresis_of_means=_largest_difference(owner, up, error, (point,), records),
        n=np.bincount(owner, minlength=records),
    )


def _check(*columns: np.ndarray) -> None:
    if len({column.shape for column in columns}) != 1 or columns[0].ndim != 1:
        raise BadArgument("readings", "every column needs one value a reading")
    _, point, error, *_ = columns
    for name, column in (("applied_percent", point), ("errors", error)):
        if not np.isfinite(column).all():
            raise BadArgument(f"{name}", "not a number; leave out readings that were not taken")


def _extremes(owner: np.ndarray, value: np.ndarray, records: int) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest value of each record; NaN where it has none."""
    low, high = np.full(records, np.inf), np.full(records, -np.inf)
    np.minimum.at(low, owner, value)
    np.maximum.at(high, owner, value)
    return np.where(np.isinf(low), np.nan, low), np.where(np.isinf(high), np.nan, high)


def _mean_at(
    owner: np.ndarray, point: np.ndarray, error: np.ndarray, end: np.ndarray, *, near: float
) -> np.ndarray:
    """Mean error of each record at its end point; NaN where that is not near enough."""
    here = (point == end[owner]) & (np.abs(point - near) <= END_ROOM)
    return _means(owner[here], error[here], len(end))


def _means(cell: np.ndarray, value: np.ndarray, cells: int) -> np.ndarray:
    """Mean value of each cell; NaN where it has none."""
    count = np.bincount(cell, minlength=cells)
    total = np.bincount(cell, weights=value, minlength=cells)
    return np.divide(total, count, out=np.full(cells, np.nan), where=count > 0)


def _largest_difference(
    owner: np.ndarray,
    up: np.ndarray,
    error: np.ndarray,
    within: tuple[np.ndarray, ...],
    records: int,
) -> np.ndarray:
    """Largest |mean rising − mean falling error| of each record.

    Compared are readings of one cell, such as a point within a run, that ``within`` makes.
    """
    cell, cell_owner = _cells((owner, *within))
    rising = _means(cell[up], error[up], len(cell_owner))
    falling = _means(cell[~up], error[~up], len(cell_owner))
    difference = np.abs(rising - falling)
    known = ~np.isnan(difference)
    largest = np.full(records, -np.inf)
    np.maximum.at(largest, cell_owner[known], difference[known])
    return np.where(np.isinf(largest), np.nan, largest)


def _cells(keys: tuple[np.ndarray, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Cell of each reading among those that agree in all keys; and the first key of each cell."""
    order = np.lexsort(keys)
    new = np.zeros(len(order), dtype=bool)
    new[:1] = True
    for key in keys:
        new[1:] |= np.diff(key[order]) != 0
    cell = np.empty(len(order), dtype=int)
    cell[order] = np.cumsum(new) - 1
    return cell, keys[0][order][new]


@limits_size("applied_percent")
def repeatability(applied_percent: ArrayLike, errors: ArrayLike, rising: ArrayLike) -> float | None:
    """Largest difference between readings at one point approached from the same side, % of span.

    None where no point was approached twice from one side. Source: TRM-01, after ISA-51.1 (from
    memory).

    >>> round(repeatability([50, 50, 50], [0.1, 0.125, 0.3], [True, True, False]), 6)
    0.025
    """
    count = np.size(errors)
    return _known(
        repeatability_fleet(np.zeros(count, dtype=int), applied_percent, errors, rising, records=1)[
            0
        ]
    )


@limits_size("applied_percent", "errors")
def repeatability_fleet(
    record: ArrayLike,
    applied_percent: ArrayLike,
    errors: ArrayLike,
    rising: ArrayLike,
    *,
    records: int,
) -> np.ndarray:
    """repeatability of many tests at once, as figures_fleet; NaN where not shown."""
    owner = whole_numbers("record", record, below=float(whole_numbers("records", records)))
    point = np.asarray(applied_percent, dtype=float).round(SAME_POINT_DIGITS)
    error, up = np.asarray(errors, dtype=float), np.asarray(rising, dtype=bool)
    _check(owner, point, error, up)
    cell, cell_owner = _cells((owner, point, up))
    twice = np.bincount(cell, minlength=len(cell_owner)) > 1
    low, high = _extremes(cell, error, len(cell_owner))
    _, largest = _extremes(cell_owner[twice], (high - low)[twice], records)
    return largest


@dataclass(frozen=True)
class DeadBand:
    """Smallest change of the input that moved the output, % of span.

    More than at_least, at most at_most; at_most is None where the output never moved. n: reversals
    that were looked at.
    """

    at_least: float
    at_most: float | None
    n: int


def dead_band(
    applied_percent: ArrayLike, output_percent: ArrayLike, *, moved: float
) -> DeadBand | None:
    """Dead band from small changes of the input that go up and come back.

    applied_percent, output_percent: % of span, in order of time. moved: smallest change of the
    output that counts, such as three times the meter's resolution. At each reversal of the input:
    how far it went before the output moved; the widest band is returned. None where the input
    never turned. Raises BadArgument for values that do not pair or are not numbers. Term: IEC
    61298-2 (from memory).

    >>> dead_band([50, 50.2, 50.1, 50.0, 49.9], [50, 50.2, 50.2, 50.2, 50.1], moved=0.05)
    DeadBand(at_least=0.2, at_most=0.3, n=1)
    """
    x, y = np.asarray(applied_percent, dtype=float), np.asarray(output_percent, dtype=float)
    if x.shape != y.shape or x.ndim != 1:
        raise BadArgument("output_percent", "one output is needed for each applied value")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise BadArgument(
            "applied_percent, output_percent", "not a number; leave out what was not read"
        )
    if not moved > 0:
        raise BadArgument("moved", f"{moved} is not above zero")
    steps = np.sign(np.diff(x))
    turns = [i + 1 for i in range(len(steps) - 1) if steps[i] * steps[i + 1] < 0]
    bands = [_band_after(turn, x, y, steps, moved) for turn in turns]
    if not bands:
        return None
    least, most = max(bands, key=lambda band: (band[1] is None, band[0]))
    return DeadBand(least, most, len(bands))


def _band_after(
    turn: int, x: np.ndarray, y: np.ndarray, steps: np.ndarray, moved: float
) -> tuple[float, float | None]:
    """How far the input went from this turn before the output moved, and when it had moved."""
    least, at = 0.0, turn + 1
    while at < len(x) and steps[at - 1] == steps[turn]:
        change = round(abs(float(x[at] - x[turn])), SAME_POINT_DIGITS)
        if abs(y[at] - y[turn]) >= moved - SLACK:
            return least, change
        least, at = change, at + 1
    return least, None
