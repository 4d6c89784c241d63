"""How often a verdict passes that was given a chance, on simulated fleets whose truth is known.

``python -m tests.bench.verdicts [instruments]`` prints the tables: chances against verdicts in
bins, Brier scores beside those of the worse end alone, and the closed loop of intervals. The suite
runs the same functions on fewer instruments.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from calibration.metrology.fleet_fit import fit_fleet
from calibration.metrology.histories import histories
from calibration.metrology.intervals import as_found_probability, propose, shortened
from calibration.metrology.longest_interval import LOWER, UPPER
from calibration.metrology.passing import Passing, passing
from calibration.metrology.shapes import AT, POSITIONS, TOP, fit_shapes, own_tests, shapes_of
from calibration.metrology.wander import Outlook, outlook

TOLERANCE, U, SHARED, ADJUST_BEYOND = 1.0, 0.06, 0.05, 0.5  # % of span
VISITS = (3, 6, 10)
BINS = (0.5, 0.8, 0.9, 0.95, 0.98, 1.0)
RISING = np.arange(POSITIONS) <= TOP


@dataclass(frozen=True)
class Kind:
    """Standard deviations between instruments, % of span, and the scatter of a single reading."""

    bend: float = 0.1
    hysteresis: float = 0.1
    scatter: float = 0.03
    rate: float = 0.15
    rate_sd: float = 0.1
    walk: float = 0.2


KINDS = {
    "smooth": Kind(),
    "sticky": Kind(hysteresis=0.4),
    "bent": Kind(bend=0.3),
    "noisy": Kind(scatter=0.15),
}


class Test(NamedTuple):
    """Nine readings of n instruments: errors at zero and span, and the shape that is left."""

    errors: np.ndarray
    ends: np.ndarray
    shape: np.ndarray


class Plant:
    """n instruments that drift, are read and adjusted."""

    def __init__(self, kind: Kind, n: int, rng: np.random.Generator) -> None:
        self.kind, self.n, self.rng = kind, n, rng
        self.rate = rng.normal(kind.rate, kind.rate_sd, (2, n))
        self.true = rng.normal(0, 0.05, (2, n))
        bend = rng.normal(kind.bend, kind.bend, n)
        width = np.abs(rng.normal(0, kind.hysteresis, n)) / 2
        arch = 4 * AT * (1 - AT)
        self.shape = np.outer(arch, bend) + np.outer(np.where(RISING, -arch, arch), width)
        self.shared = np.zeros((2, n))

    def run(self, years: np.ndarray) -> None:
        """Let time pass; the next visit brings its own standard."""
        walk = self.kind.walk * np.sqrt(years) * self.rng.normal(size=(2, self.n))
        self.true += self.rate * years + walk
        self.shared = self.rng.normal(0, SHARED, (2, self.n))

    def read(self) -> Test:
        zero, span = self.true + self.shared
        x = AT[:, None]
        noise = self.rng.normal(0, self.kind.scatter, (POSITIONS, self.n))
        errors = (1 - x) * zero + x * span + self.shape + noise
        ends = np.array([(errors[0] + errors[-1]) / 2, errors[TOP]])
        return Test(errors, ends, errors - (1 - x) * ends[0] - x * ends[1])

    def adjust(self, found: Test, which: np.ndarray) -> None:
        self.true -= np.where(which, found.ends, 0.0)


class Story:
    """The records of a plant so far: visits by instruments."""

    def __init__(self, plant: Plant) -> None:
        self.plant, self.now = plant, np.zeros(plant.n)
        self.rows: list[tuple[np.ndarray, ...]] = []
        self.shapes: list[np.ndarray] = []
        self.tests: list[np.ndarray] = []

    def visit(self, years: np.ndarray) -> np.ndarray:
        """Read, adjust beyond the limit and read again; whether the verdict as found was pass."""
        self.plant.run(years)
        self.now = self.now + years
        found = self.plant.read()
        adjusted = np.abs(found.errors).max(axis=0) > ADJUST_BEYOND
        self.plant.adjust(found, adjusted)
        again = self.plant.read()
        left = np.where(adjusted, again.ends, found.ends)
        self.rows.append((self.now.copy(), found.ends, left, adjusted))
        both = (found.shape + again.shape) / 2
        self.shapes.append(np.where(adjusted, both, found.shape))
        self.tests.append(1 + adjusted)
        return (np.abs(found.errors) <= TOLERANCE).all(axis=0)

    def outlooks(self) -> list[Outlook]:
        """Of both ends, as the nightly pass fits them."""
        n = self.plant.n
        years, adjusted = (np.array([np.tile(row[k], 2) for row in self.rows]) for k in (0, 3))
        found, left = (np.array([row[k].ravel() for row in self.rows]) for k in (1, 2))
        core = histories(years, found, left, adjusted, self.u, SHARED)
        ends = np.repeat([0, 1], n)
        fit = fit_fleet(core, ends, TOLERANCE, together=np.zeros(2 * n))
        both = outlook(fit.histories, fit.prior)
        return [both.columns(slice(end * n, (end + 1) * n)) for end in (0, 1)]

    def passing(self, ends: list[Outlook]) -> Passing:
        n = self.plant.n
        owner = np.tile(np.arange(n), len(self.shapes))
        own = own_tests(np.hstack(self.shapes), np.concatenate(self.tests), owner, n)
        family = np.zeros(n, dtype=int)
        shapes = shapes_of(own, fit_shapes(own, family, [TOLERANCE]).of(family))
        return passing(*ends, shapes, tolerance=TOLERANCE, u=np.full((2, n), self.u))

    @property
    def u(self) -> float:
        return float(np.hypot(SHARED, self.plant.kind.scatter))


@dataclass(frozen=True)
class Score:
    """chance: of each instrument; worse: by the worse end alone; passed: what came."""

    chance: np.ndarray
    worse: np.ndarray
    passed: np.ndarray

    def bins(self) -> list[tuple[float, float, int]]:
        """Mean chance, share that passed and number, bin by bin."""
        rows = []
        for low, high in pairwise(BINS):
            here = (self.chance >= low) & (self.chance < high + (high == 1))
            some = max(int(here.sum()), 1)
            rows.append((self.chance[here].sum() / some, self.passed[here].sum() / some, some))
        return rows

    def brier(self) -> tuple[float, float]:
        """Of the chance, and of the worse end alone."""
        return tuple(float(((p - self.passed) ** 2).mean()) for p in (self.chance, self.worse))


def score(kind: Kind, n: int, visits: int, rng: np.random.Generator) -> Score:
    """Chances of the verdict of one more visit, and what came."""
    story = Story(Plant(kind, n, rng))
    for _ in range(visits):
        story.visit(rng.uniform(0.3, 2.0, n))
    years = rng.uniform(0.3, 2.0, n)
    ends = story.outlooks()
    chance = story.passing(ends).chance(years)
    worse = np.min([as_found_probability(of, years, TOLERANCE, story.u) for of in ends], axis=0)
    return Score(chance, worse, story.visit(years))


class Loop(NamedTuple):
    """Shares of verdicts that passed, of all and of intervals that no bound cut; mean interval."""

    passed: float
    passed_uncut: float
    uncut: int
    years: float


def closed_loop(kind: Kind, n: int, rng: np.random.Generator, *, visits: int = 10) -> Loop:
    """Intervals as proposed at target 95 %, from the third visit on."""
    story, now = Story(Plant(kind, n, rng)), np.ones(n)
    passed, uncut, lengths = [], [], []
    for _ in range(3):
        story.visit(now)
    for _ in range(visits):
        ends = story.outlooks()
        found = story.passing(ends).first_below(0.95, LOWER, UPPER)
        (zero, by_zero), (span, by_span) = (
            shortened(propose(of, TOLERANCE, story.u, current=now), np.arange(n), found)
            for of in ends
        )
        now = np.minimum(zero.years, span.years)
        passed.append(story.visit(now))
        uncut.append(found.reached & by_zero & by_span)
        lengths.append(now)
    came, free = np.array(passed), np.array(uncut)
    return Loop(came.mean(), came[free].mean(), int(free.sum()), float(np.mean(lengths)))


def main() -> None:
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    say = sys.stdout.write
    for name, kind in KINDS.items():
        for visits in VISITS:
            result = score(kind, n, visits, np.random.default_rng(visits))
            bins = "  ".join(f"{a:.3f}→{b:.3f} ({m})" for a, b, m in result.bins())
            chance, worse = result.brier()
            say(f"{name:8}{visits:3}  {bins}  Brier {chance:.4f} worse end {worse:.4f}\n")
    for name, kind in KINDS.items():
        loop = closed_loop(kind, max(n // 10, 300), np.random.default_rng(1))
        say(
            f"{name:8} loop: passed {loop.passed:.3f}, uncut {loop.passed_uncut:.3f}"
            f" ({loop.uncut}), mean {loop.years:.2f} years\n"
        )


if __name__ == "__main__":
    main()
