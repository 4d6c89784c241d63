"""Probability that the next as found passes: every reading within its limit.

A reading's error is the line between the errors at zero and span on that day, the transmitter's
shape there (shapes.py), and the scatter of a single reading. Both ends are taken as jointly normal.
Readings at one place are first taken as one (next_test.py). Where few fail the probability comes
from neighbour to neighbour (neighbours.py), elsewhere along rays (rays.py).
Source: derived for this book; acceptance limits after JCGM 106:2012, 8 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.blocks import map_blocks
from calibration.metrology.neighbours import by_neighbours
from calibration.metrology.next_test import NextTest, Readings
from calibration.metrology.rays import by_rays
from plant.level.checks import BadArgument, limits_size, numbers

# Probability above which neighbours say as much as rays, and below which rays alone count; between
# them both do, by and by, lest a chance that falls with time should rise where one gives way.
_FEW_FAIL, _MANY_FAIL = 0.92, 0.86


@limits_size("limits")
def probability_of_pass(
    at: ArrayLike,
    means: ArrayLike,
    variances: ArrayLike,
    shape: ArrayLike,
    reading_variance: ArrayLike,
    limits: ArrayLike,
) -> np.ndarray:
    """Probability that all readings lie within ± their limits (N).

    at: R; share of the span. means, variances: 2 by N; of the errors at zero and span, % of span.
    shape, reading_variance, limits: R by N, as in Readings. Raises BadArgument for a value that is
    not a number, a variance that is not above zero, or shapes that do not go together.

    >>> round(float(probability_of_pass([0, 1], [[0], [0]], [[1], [1]], [[0], [0]],
    ...     [[1], [1]], [[1.96 * 2**0.5], [99]])[0]), 2)
    0.95
    """
    test = _checked(at, means, variances, shape, reading_variance, limits)
    return np.concatenate(map_blocks(lambda part: pass_of(test.columns(part)), len(test)))


def pass_of(test: NextTest) -> np.ndarray:
    """The same (N) of one block, whose numbers are known to be good and whose readings stand alone
    at their places.
    """
    result = by_neighbours(test)
    some = np.flatnonzero((result < _FEW_FAIL) & (test.readings.limit > 0).all(axis=0))
    if some.size:
        share = np.clip((result[some] - _MANY_FAIL) / (_FEW_FAIL - _MANY_FAIL), 0.0, 1.0)
        result[some] += (1 - share) * (by_rays(test.columns(some)) - result[some])
    return result


def _checked(at: ArrayLike, *columns: ArrayLike) -> NextTest:
    places = np.atleast_1d(numbers("at", at))
    names = ("means", "variances", "shape", "reading_variance")
    ends, spread, shape, noise = (
        numbers(name, column) for name, column in zip(names, columns, strict=False)
    )
    limit = np.asarray(columns[-1], dtype=float)
    if ends.ndim != 2 or len(ends) != 2 or spread.shape != ends.shape:
        raise BadArgument("means, variances", "one row is needed for each end")
    whole = (places.size, ends.shape[1])
    if not shape.shape == noise.shape == limit.shape == whole:
        raise BadArgument("shape, reading_variance, limits", f"each must be {whole}")
    if not ((spread > 0).all() and (noise > 0).all()):
        raise BadArgument("variances, reading_variance", "a variance must be above zero")
    if np.isnan(limit).any():
        raise BadArgument("limits", "a limit is not a number; inf where there is no reading")
    readings = Readings(places, shape, noise, limit).by_place()
    return NextTest(ends[0], ends[1], spread[0], spread[1], readings)
