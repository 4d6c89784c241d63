"""G3a, its arithmetic alone: drift, band and next interval of a fleet, beside one pass of plain lines.

The pass is a small part of the whole floor of G3a, which also reads and writes: hence the wide ratio. Ten times is what
the method took where it was worked out (0.41 s over 0.04 s); this is not reached yet.
"""

from __future__ import annotations

import numpy as np

from calibration.metrology.families import fit_families
from calibration.metrology.histories import blocks, histories
from calibration.metrology.intervals import propose
from calibration.metrology.wander import outlook
from tests.bench.coverage import TOLERANCE, TRUTHS, Fleet, U, simulate
from tests.bench.pairs import Row, compare

FAMILIES, SAMPLE, VISITS = 400, 10, 10


def run(scale: int | None) -> list[Row]:
    n = scale or 100_000
    fleet = simulate(TRUTHS["half and half"], n, VISITS, np.random.default_rng(1))
    family = np.arange(n) % FAMILIES
    return [
        compare(
            "G3a",
            f"{VISITS} visits each: drift, band, interval; no database",
            rows=n,
            floor=lambda: plain_lines(fleet),
            product=lambda: judge(fleet, family),
            at_most=10,
            pairs=5,
            warm=1,
        )
    ]


def plain_lines(fleet: Fleet) -> tuple[np.ndarray, np.ndarray]:
    """The floor: one least-squares line through the as founds, slope and its standard error."""
    x = fleet.years - fleet.years.mean(axis=0)
    y = fleet.found - fleet.found.mean(axis=0)
    sxx = (x * x).sum(axis=0)
    slope = (x * y).sum(axis=0) / sxx
    rest = y - slope * x
    return slope, np.sqrt((rest * rest).sum(axis=0) / (len(x) - 2) / sxx)


def judge(fleet: Fleet, family: np.ndarray) -> np.ndarray:
    """The families from a tenth of the fleet, then every instrument, block by block."""
    told = histories(fleet.years, fleet.found, fleet.left, fleet.adjusted, U)
    some = slice(0, max(len(told) // SAMPLE, min(len(told), 10 * FAMILIES)))
    prior = fit_families(told.columns(some), family[some], TOLERANCE, rounds=15)
    years = np.empty(len(told))
    for part in blocks(len(told)):
        of = outlook(told.columns(part), prior.of(family[part]))
        of.next_as_found(1.0, U)
        years[part] = propose(of, TOLERANCE, U).years
    return years
