"""The shape of a transmitter's error curve: what its readings keep when the line between the
errors at zero and span is taken out.

A bend, hysteresis and the scatter of single readings are not adjusted away with zero and span, so
every test since the last repair speaks for them. Nine positions stand for all tests: 0, 25, 50, 75
and 100 % rising, 75, 50, 25 and 0 % falling; a reading counts at the position nearest to it. The
mean of a transmitter's own tests is drawn towards its family's, the more the fewer they are.
Positions run along the first axis. Errors are in % of span.
Source: derived for this book.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from plant.level.checks import BadArgument, above_zero, limits_size, numbers, whole_numbers

AT = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 0.75, 0.5, 0.25, 0.0])  # share of the span
POSITIONS = len(AT)
TOP, BOTTOMS = 4, (0, 8)
# Of one without a family, in tolerances: standard deviation of its shape, and of its tests about
# it. As so many members they also keep a small family from claiming too much. The line runs through
# the reading at the top, and midway between those at the bottom.
SPREAD_ALONE, SCATTER_ALONE, PSEUDO = 1 / 8, 1 / 20, 2
_FREE = np.where(AT == 1, 0.0, np.where(AT == 0, 0.5, 1.0))[:, None]


def shape_of(
    percent: ArrayLike, errors: ArrayLike, rising: ArrayLike, *, zero: float, span: float
) -> np.ndarray:
    """Errors of one test less the line from ``zero`` to ``span``, by position (9); NaN: not read.

    percent: applied value, % of span; errors: % of span; rising: True where the input rose; one
    place a reading. zero, span: errors at 0 and 100 %. Raises BadArgument for what is no number or
    does not pair.

    >>> shape_of([0, 50, 100, 50], [0, 0.3, 0.2, 0.1], [1, 1, 1, 0], zero=0, span=0.2)[[0, 2, 4, 6]]
    array([0. , 0.2, 0. , 0. ])
    """
    at, error = numbers("percent", percent) / 100, numbers("errors", errors)
    up = np.asarray(rising, dtype=bool)
    if not at.shape == error.shape == up.shape or at.ndim != 1:
        raise BadArgument("errors", "one error and one direction are needed for each reading")
    numbers("zero", zero)
    numbers("span", span)
    nearest = np.clip(np.floor(4 * at + 0.5), 0, TOP).astype(int)
    position = np.where(up, nearest, 2 * TOP - nearest)
    rest = error - (1 - at) * zero - at * span
    read = np.bincount(position, minlength=POSITIONS)
    total = np.bincount(position, weights=rest, minlength=POSITIONS)
    return np.where(read > 0, total / np.maximum(read, 1), np.nan)


@dataclass(frozen=True)
class FamilyShapes:
    """9 by F. mean: of the members' shapes. between: variance of the members about it. within:
    variance of one test about its member's shape. members: F; with any shape.
    """

    mean: np.ndarray
    between: np.ndarray
    within: np.ndarray
    members: np.ndarray

    def of(self, family: np.ndarray) -> FamilyShapes:
        """One place a transmitter, from one place a family and each transmitter's family."""
        return FamilyShapes(*(getattr(self, f.name)[..., family] for f in fields(self)))


def alone(tolerance: ArrayLike) -> FamilyShapes:
    """The wide one of a transmitter without a family; tolerance: half-width, % of span (N).

    Raises BadArgument for a tolerance not above zero.
    """
    half = np.atleast_1d(above_zero("tolerance", tolerance))
    return FamilyShapes(
        np.zeros((POSITIONS, half.size)),
        (SPREAD_ALONE * _FREE * half) ** 2,
        (SCATTER_ALONE * _FREE * half) ** 2,
        np.zeros(half.size, dtype=int),
    )


@dataclass(frozen=True)
class OwnTests:
    """The tests of N transmitters. mean, count: 9 by N; count is of tests. squares: sum of squares
    about the mean; visits: how many different means that rests on. read: what the last test read.
    """

    mean: np.ndarray
    count: np.ndarray
    squares: np.ndarray
    visits: np.ndarray
    read: np.ndarray


@limits_size("shapes")
def own_tests(shapes: ArrayLike, tests: ArrayLike, owner: ArrayLike, n: int) -> OwnTests:
    """From one column a visit (9 by M), in order of time: the mean of ``tests`` tests (M) of
    transmitter ``owner`` (M, 0 to n − 1). Raises BadArgument where they do not pair.
    """
    table, n = np.asarray(shapes, dtype=float), int(whole_numbers("n", n))
    k, whose = above_zero("tests", tests), whole_numbers("owner", owner, below=max(n, 1))
    if table.shape != (POSITIONS, whose.size) or k.shape != whose.shape:
        raise BadArgument("shapes", "nine positions are needed for each visit")
    if np.isinf(table).any():
        raise BadArgument("shapes", "an error is not a number; NaN where it was not read")
    is_read = ~np.isnan(table)
    values = np.where(is_read, table, 0.0)
    weights = np.where(is_read, k, 0.0)

    def total(rows: np.ndarray) -> np.ndarray:
        return np.array([np.bincount(whose, weights=row, minlength=n) for row in rows])

    count = total(weights)
    mean = total(weights * values) / np.maximum(count, 1)
    squares = total(weights * (values - mean[:, whose]) ** 2)
    last = np.full(n, -1)
    some = np.flatnonzero(is_read.any(axis=0))
    last[whose[some]] = some
    read = (last >= 0) & is_read[:, last] if whose.size else np.zeros((POSITIONS, n), dtype=bool)
    return OwnTests(mean, count, squares, total(is_read.astype(float)), read)


def fit_shapes(of: OwnTests, family: ArrayLike, tolerance: ArrayLike) -> FamilyShapes:
    """Mean shape and variances of each family; family: of each transmitter, 0 to F − 1 (N);
    tolerance: half-width, % of span (F).
    """
    half = np.atleast_1d(above_zero("tolerance", tolerance))
    member = whole_numbers("family", family, below=half.size)
    default = alone(half)

    def total(rows: np.ndarray) -> np.ndarray:
        sums = (np.bincount(member, weights=row, minlength=half.size) for row in rows)
        return np.array(list(sums))

    has = of.count > 0
    n = total(has.astype(float))
    freedom = total(np.maximum(of.visits - 1, 0))
    within = (total(of.squares) + PSEUDO * default.within) / (freedom + PSEUDO)
    mean = total(np.where(has, of.mean, 0.0)) / (n + 1)
    off = total(np.where(has, (of.mean - mean[:, member]) ** 2, 0.0))
    by_chance = within * total(np.where(has, 1 / np.maximum(of.count, 1), 0.0))
    excess = np.maximum(off - by_chance, 0.0)
    between = (excess + PSEUDO * default.between) / (np.maximum(n - 1, 0) + PSEUDO)
    return FamilyShapes(mean, between, within, n.max(axis=0).astype(int))


@dataclass(frozen=True)
class Shapes:
    """What the next test is expected to show. mean, variance: 9 by N; of each position's shape.
    scatter: N; variance of a single reading about it. read: 9 by N; positions it will have.
    """

    mean: np.ndarray
    variance: np.ndarray
    scatter: np.ndarray
    read: np.ndarray


def shapes_of(own: OwnTests, family: FamilyShapes) -> Shapes:
    """Own tests drawn towards the family's mean (FamilyShapes.of, one place a transmitter): the own
    mean counts between / (between + within / tests).
    """
    noise = family.within / np.maximum(own.count, 1e-9)
    keep = family.between / np.maximum(family.between + noise, 1e-30)
    # Of one that never had a test with both ends: those are read at least.
    ends = np.zeros((POSITIONS, 1), dtype=bool)
    ends[[0, TOP]] = True
    read = np.where(own.read.any(axis=0), own.read, ends)
    # One reading at the bottom alone lies on the line.
    free = (AT[:, None] != 0) | read[list(BOTTOMS)].all(axis=0)
    mean = np.where(free, family.mean + keep * (own.mean - family.mean), 0.0)
    return Shapes(mean, np.where(free, keep * noise, 0.0), _scatter(family.within, read), read)


def _scatter(within: np.ndarray, read: np.ndarray) -> np.ndarray:
    """Variance of a single reading, from that of what is left when the line is taken out: the
    readings at the ends, which make the line, scatter too.
    """
    bottoms = np.maximum(read[list(BOTTOMS)].sum(axis=0), 1)
    at = AT[:, None]
    middle = 1 + (1 - at) ** 2 / bottoms + at**2
    factor: Any = np.where(at == 0, 1 - 1 / bottoms, np.where(at == 1, 0.0, middle))
    used = read & (factor > 0)
    known = (within * used).sum(axis=0) / np.maximum((factor * used).sum(axis=0), 1e-9)
    # Where only the ends are read, one position's variance stands for all.
    return np.where(used.any(axis=0), known, within.mean(axis=0))
