"""How the demo's transmitters drift: the laws put in, so that a test can ask whether Spanbook finds them.

All errors in % of span, all rates a year of 365.25 days. The figures of the families are demo choices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

# The legacy generator: NumPy promises that its numbers never change from one version to the next.
Chance = np.random.RandomState


@dataclass(frozen=True)
class Family:
    """What transmitters of one kind have in common, and how they are calibrated.

    zero, span: mean drift a year, and its spread between units; span drift is the part that grows in proportion to
    the level, so the error at 100 % drifts by zero + span. walk: random walk of zero a square root of a year (span:
    half). scatter: of one reading. hysteresis: bulge on the way down. hours: a job takes so long.
    """

    principle: str
    zero: tuple[float, float]
    span: tuple[float, float]
    walk: float
    scatter: float
    tolerance: float
    months: int
    procedure: str
    way: str
    percents: tuple[float, ...] = (0, 25, 50, 75, 100)
    up_and_down: bool = True
    hysteresis: float = 0.0
    hours: float = 2.0


DIP, PRESSURE, TARGET = "wetted level by dip", "pressure applied", "target at known distance"
WEIGHTS, FLOAT_MOVED = "weights on hanger", "float moved along its rod"
ROD, ROPE = "capacitance rod", "capacitance rope"

FAMILIES = {
    "rod, insulating": Family(
        ROD, (0.08, 0.10), (-0.12, 0.15), 0.10, 0.06, 1.0, 12, "cap-tank", DIP, hours=3.5
    ),
    "rod, conducting": Family(
        ROD, (0.20, 0.15), (0.05, 0.10), 0.12, 0.08, 1.0, 12, "cap-tank", DIP, hours=3.5
    ),
    "rope, insulating": Family(
        ROPE, (0.10, 0.15), (-0.20, 0.25), 0.15, 0.10, 1.0, 12, "cap-tank", DIP, hours=4.0
    ),
    # Never empty and never full: the ends of the range are approached, not reached.
    "rope, molasses": Family(
        ROPE, (0.90, 0.30), (0.10, 0.20), 0.25, 0.15, 1.0, 12, "cap-tank", DIP,
        percents=(4, 25, 50, 75, 96), hysteresis=0.4, hours=4.5,
    ),
    "hydrostatic": Family(
        "hydrostatic", (0.06, 0.08), (-0.04, 0.06), 0.05, 0.03, 0.5, 12, "hydro-place", PRESSURE
    ),
    "differential pressure": Family(
        "differential pressure", (0.10, 0.10), (-0.03, 0.05), 0.06, 0.04, 0.5, 12, "dp-wetleg", PRESSURE, hours=3.0
    ),
    "radar": Family(
        "radar", (0.0, 0.01), (0.0, 0.01), 0.01, 0.02, 0.25, 12, "radar", TARGET, up_and_down=False
    ),
    # In mm, not %: see in_percent. Three levels, one in each third, as ships bring them.
    "radar, custody": Family(
        "radar", (0.0, 0.3), (0.0, 0.0), 0.8, 1.2, 4.0, 3, "radar", DIP,
        percents=(3, 52, 97), up_and_down=False, hours=2.5,
    ),
    "guided wave": Family(
        "guided wave", (0.02, 0.04), (0.0, 0.03), 0.03, 0.04, 0.5, 12, "gwr", TARGET, up_and_down=False
    ),
    "ultrasonic": Family(
        "ultrasonic", (0.05, 0.10), (0.05, 0.15), 0.15, 0.15, 1.0, 12, "ultrasonic", TARGET, up_and_down=False
    ),
    "displacer": Family(
        "displacer", (0.15, 0.15), (-0.15, 0.15), 0.10, 0.10, 1.0, 12, "displacer", WEIGHTS,
        hysteresis=0.15, hours=3.0,
    ),
    "magnetostrictive": Family(
        "magnetostrictive", (0.01, 0.02), (0.0, 0.01), 0.02, 0.02, 0.25, 24, "magnetostrictive", FLOAT_MOVED, hours=1.5
    ),
    "float": Family(
        "float", (0.0, 0.10), (0.0, 0.10), 0.10, 0.25, 1.5, 12, "float", FLOAT_MOVED, hours=1.5
    ),
}  # fmt: skip

CUSTODY = "radar, custody"
BEND = 0.1
"""Mid-span bulge, a parabola, as a share of the tolerance; custody radar has none."""


@dataclass(frozen=True)
class Law:
    """The drift of one transmitter, % of span."""

    zero_rate: float
    span_rate: float
    walk: float
    scatter: float
    hysteresis: float
    bend: float
    tolerance: float

    @property
    def rate_at_span(self) -> float:
        """Drift a year of the error at 100 %."""
        return self.zero_rate + self.span_rate

    def without_walk(self) -> Law:
        return replace(self, walk=0.0)


def in_percent(family: str, *, span_mm: float) -> float:
    """What one unit of the family's figures is in % of span: its millimetres where it is a custody radar."""
    return 100 / span_mm if family == CUSTODY else 1.0


def draw_law(family: str, chance: Chance, *, span_mm: float) -> Law:
    """One unit of the family."""
    of, share = FAMILIES[family], in_percent(family, span_mm=span_mm)
    # No freaks: the demo's bad actors are those of its stories.
    zero, span = (
        mean + sd * float(np.clip(chance.normal(), -2, 2)) for mean, sd in (of.zero, of.span)
    )
    tolerance = of.tolerance * share
    return Law(
        zero_rate=zero * share,
        span_rate=span * share,
        walk=of.walk * share,
        scatter=of.scatter * share,
        hysteresis=of.hysteresis * share,
        bend=0.0 if family == CUSTODY else BEND * tolerance,
        tolerance=tolerance,
    )


@dataclass
class Device:
    """A transmitter's true error as time goes by: ``zero`` everywhere, plus ``span`` in proportion to the level."""

    law: Law
    zero: float = 0.0
    span: float = 0.0

    def age(self, years: float, chance: Chance) -> None:
        steps = chance.normal(0.0, 1.0, 2) * years**0.5
        self.zero += self.law.zero_rate * years + self.law.walk * steps[0]
        self.span += self.law.span_rate * years + self.law.walk / 2 * steps[1]

    def adjust(self, chance: Chance) -> None:
        """Zero and span are put right, as near as hands can: well within a quarter of the tolerance."""
        self.zero, self.span = np.clip(chance.normal(0.0, 1.0, 2), -2, 2) * self.law.tolerance / 15

    def errors(self, percents: np.ndarray, rising: np.ndarray, chance: Chance) -> np.ndarray:
        """Read at these points of the span, % of span, on the way up or down."""
        along = np.asarray(percents, dtype=float) / 100
        bulge = 4 * along * (1 - along)
        down = np.where(rising, 0.0, self.law.hysteresis * bulge)
        scatter = chance.normal(0.0, 1.0, along.size) * self.law.scatter
        return self.zero + self.span * along + self.law.bend * bulge + down + scatter


def run_of(percents: tuple[float, ...], up_and_down: bool) -> tuple[np.ndarray, np.ndarray]:
    """The points of one test in order, and which of them are approached from below."""
    up = np.array(percents, dtype=float)
    if not up_and_down:
        return up, np.ones(up.size, dtype=bool)
    points = np.concatenate([up, up[-2::-1]])
    return points, np.arange(points.size) < up.size
