"""Readings of many instruments side by side: from visits to the increments between them.

Visits run along the first axis, instruments along the last; one instrument is a fleet of one.
Errors are in % of span, time in years of DAYS_A_YEAR days. An increment is an as found less the
as left before it; what was adjusted between the two readings of a visit is no drift.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.blocks import columns_of
from calibration.metrology.drift import CannotFit
from plant.level.checks import LARGEST


@dataclass(frozen=True)
class Histories:
    """Increments of N instruments, aligned at their last visit; K is the longest history less one.

    increments, years, variance, shared, counted: K by N. ``variance`` is of both readings'
    errors; ``shared`` is what this increment's error has in common with the next. Where
    ``counted`` is False there is no increment (the history is shorter, a reading is missing, or
    it was set aside), and the other four hold values that change no sum.
    level, level_variance, last_year, visits: N; the last as left, the variance of its error,
    when, and how many visits.
    adjusted: K by N, whether the visit that ends the increment was adjusted.
    """

    increments: np.ndarray
    years: np.ndarray
    variance: np.ndarray
    shared: np.ndarray
    counted: np.ndarray
    adjusted: np.ndarray
    level: np.ndarray
    level_variance: np.ndarray
    last_year: np.ndarray
    visits: np.ndarray

    def __len__(self) -> int:
        return len(self.level)

    def columns(self, which: Any) -> Histories:
        """The same of some of the instruments: a slice, a mask or their places."""
        return Histories(*(columns_of(getattr(self, f.name), which) for f in fields(self)))

    def without(self, aside: np.ndarray) -> Histories:
        """Set increments aside (K by N): a fresh level begins after each, the rate goes on."""
        counted = self.counted & ~aside
        shared = np.where(counted, self.shared, 0.0)
        # The one before shares its error with an increment that no longer speaks.
        shared[:-1] = np.where(counted[1:], shared[:-1], 0.0)
        return Histories(
            np.where(counted, self.increments, 0.0),
            np.where(counted, self.years, 0.0),
            np.where(counted, self.variance, 1.0),
            shared,
            counted,
            self.adjusted,
            self.level,
            self.level_variance,
            self.last_year,
            self.visits,
        )


def histories(
    years: ArrayLike,
    as_found: ArrayLike,
    as_left: ArrayLike,
    adjusted: ArrayLike,
    u_reading: ArrayLike,
    u_common: ArrayLike = 0.0,
) -> Histories:
    """Histories from one column an instrument, visits in order of time.

    A plain sequence is one instrument; a shorter history has NaN years in front. as_found NaN: not
    read; the increment to that visit does not exist. as_left counts where adjusted; NaN there: the
    next increment does not exist. Where not adjusted as found counts.
    u_reading: standard uncertainty of a reading; u_common: the part of it that both readings of a
    visit share. What all visits share cancels and belongs in neither.
    Raises CannotFit for fewer than two visits, times that do not rise, an uncertainty not above
    zero, a common part larger than the whole, a last visit without a known as left, no increment
    at all, or shapes that differ.
    """
    table = _Table.of(years, as_found, as_left, adjusted, u_reading, u_common)
    for fault in table.faults():
        if fault.columns.any():
            column = int(fault.columns.argmax())
            where = f"instrument {column + 1}: " if table.years.shape[1] > 1 else ""
            raise CannotFit(fault.argument, where + fault.reason)
    return table.histories()


class Fault(NamedTuple):
    columns: Any
    argument: str
    reason: str


@dataclass(frozen=True)
class _Table:
    """Visits by instruments, as read; the next increment begins at ``left``."""

    years: np.ndarray
    found: np.ndarray
    left: np.ndarray
    adjusted: np.ndarray
    u: np.ndarray
    common: np.ndarray

    @staticmethod
    def of(
        years: ArrayLike,
        found: ArrayLike,
        left: ArrayLike,
        adjusted: ArrayLike,
        u: ArrayLike,
        common: ArrayLike,
    ) -> _Table:
        columns = [np.asarray(c, dtype=float) for c in (years, found, left, u, common)]
        columns.append(np.asarray(adjusted, dtype=bool))
        if columns[0].ndim not in (1, 2):
            raise CannotFit("years", "one row a visit and one column an instrument are needed")
        if columns[0].ndim == 1:
            columns = [c[:, None] if c.ndim == 1 else c for c in columns]
        names = ("as_found", "as_left", "u_reading", "u_common", "adjusted")
        shape = columns[0].shape
        for name, column in zip(names, columns[1:], strict=True):
            if column.shape not in (shape, (), (shape[0], 1)):
                raise CannotFit(name, f"shape {column.shape} does not go with years, {shape}")
        y, f, z, s, sc, was = (np.broadcast_to(c, shape) for c in columns)
        return _Table(y, f, np.where(was | np.isnan(f), z, f), was, s, sc)

    def faults(self) -> Iterator[Fault]:
        """What forbids an answer, argument by argument; instruments are columns."""
        here = ~np.isnan(self.years)
        steps = np.diff(self.years, axis=0)
        yield Fault(here.sum(axis=0) < 2, "years", "two visits on different days are needed")
        yield Fault((here[:-1] & ~here[1:]).any(axis=0), "years", "a visit has no time")
        yield Fault(np.isinf(self.years).any(axis=0), "years", "a time is not a number")
        yield Fault(
            (steps <= 0).any(axis=0), "years", "each visit must come after the one before it"
        )
        for name, column in (("as_found", self.found), ("as_left", self.left)):
            yield Fault((here & np.isinf(column)).any(axis=0), name, "a reading is not a number")
        no_u = here & ~((self.u > 0) & (self.u <= LARGEST))
        yield Fault(no_u.any(axis=0), "u_reading", "an uncertainty must be a number above zero")
        outside = here & ~((self.common >= 0) & (self.common <= self.u))
        yield Fault(outside.any(axis=0), "u_common", "it must lie between zero and u_reading")
        yield Fault(np.isnan(self.left[-1]), "as_left", "where the last visit left it is not known")
        real = ~np.isnan(self.found[1:] - self.left[:-1])
        yield Fault(
            ~(here[:-1] & real).any(axis=0), "as_found", "no as found follows a known as left"
        )

    def histories(self) -> Histories:
        steps, drifted = np.diff(self.years, axis=0), self.found[1:] - self.left[:-1]
        counted = ~(np.isnan(steps) | np.isnan(drifted))
        square = self.u**2
        shared = np.where(self.adjusted, self.common**2, square)[1:]
        whole = Histories(
            drifted,
            steps,
            square[1:] + square[:-1],
            shared,
            counted,
            self.adjusted[1:],
            self.left[-1],
            square[-1],
            self.years[-1],
            (~np.isnan(self.years)).sum(axis=0),
        )
        return whole.without(np.zeros_like(counted))


class Gathered(NamedTuple):
    """Histories of a fleet, and the instruments without one.

    groups: whose history stands at each place. refused: group, argument and reason of the others.
    """

    groups: np.ndarray
    histories: Histories
    refused: tuple[tuple[Any, str, str], ...]


def gather(
    group: ArrayLike,
    years: ArrayLike,
    as_found: ArrayLike,
    as_left: ArrayLike,
    adjusted: ArrayLike,
    u_reading: ArrayLike,
    u_common: ArrayLike = 0.0,
) -> Gathered:
    """Histories from one row a visit, in any order; one bad history leaves the rest alone.

    Visits of one time become one: its first as found, its last as left, taken as adjusted, as the
    two are two readings.
    Raises CannotFit where lengths differ, or where no history is left.
    """
    columns = (years, as_found, as_left, adjusted, u_reading, u_common)
    ids, y, f, z, was, s, sc = _in_order(group, *columns)
    first = np.flatnonzero(np.r_[True, (ids[1:] != ids[:-1]) | (y[1:] != y[:-1])][: ids.size])
    if not first.size:
        raise CannotFit("group", "no visits were given")
    last = np.r_[first[1:], ids.size] - 1
    was = np.logical_or.reduceat(was, first) | (last > first)
    starts = np.r_[True, ids[first][1:] != ids[first][:-1]]
    names, column = ids[first][starts], np.cumsum(starts) - 1
    count = np.bincount(column)
    place = (
        np.arange(first.size) - (np.cumsum(count) - count)[column] + (count.max() - count)[column]
    )

    def spread(values: np.ndarray, empty: Any) -> np.ndarray:
        out = np.full((count.max(), names.size), empty)
        out[place, column] = values
        return out

    table = _Table.of(
        spread(y[first], np.nan),
        spread(f[first], np.nan),
        spread(z[last], np.nan),
        spread(was, False),
        spread(s[last], 1.0),
        spread(sc[last], 0.0),
    )
    return _without_faults(names, table)


def _in_order(group: ArrayLike, *columns: ArrayLike) -> tuple[np.ndarray, ...]:
    """Rows by group and time: group, years, as found, left, adjusted, both uncertainties."""
    ids = np.asarray(group)
    if ids.dtype.kind == "f" and not np.isfinite(ids).all():
        raise CannotFit("group", "one of them is not a number")
    y, f, z, was, s, sc = (np.broadcast_to(np.asarray(c, float), ids.shape) for c in columns)
    was = was.astype(bool)
    rows = (ids, y, f, np.where(was | np.isnan(f), z, f), was, s, sc)
    if ((ids[1:] > ids[:-1]) | (ids[1:] == ids[:-1]) & (y[1:] >= y[:-1])).all():
        return rows
    order = np.lexsort((y, ids))
    return tuple(row[order] for row in rows)


def _without_faults(names: np.ndarray, table: _Table) -> Gathered:
    good, refused = np.ones(names.size, dtype=bool), []
    for fault in table.faults():
        refused += [(names[i], *fault[1:]) for i in np.flatnonzero(fault.columns & good)]
        good &= ~fault.columns
    if not good.any():
        raise CannotFit("group", f"no history can be judged; the first: {refused[0][2]}")
    judged = _Table(*(getattr(table, field.name)[:, good] for field in fields(table)))
    return Gathered(names[good], judged.histories(), tuple(refused))
