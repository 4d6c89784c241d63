"""How product and floor are compared: in pairs, one after the other, so that a noisy machine slows
both.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    goal: str
    what: str
    rows: int
    floor_ms: float
    product_ms: float
    ratio: float
    quartiles: tuple[float, float]
    at_most: float

    @property
    def reached(self) -> bool:
        return self.ratio <= self.at_most

    def cells(self) -> tuple[str, ...]:
        low, high = self.quartiles
        return (
            self.goal,
            self.what,
            f"{self.rows:,}",
            f"{self.floor_ms:.2f}",
            f"{self.product_ms:.2f}",
            f"{self.ratio:.2f}",
            f"{low:.2f} to {high:.2f}",
            f"{self.at_most:g}",
            "reached" if self.reached else "missed",
        )


def compare(
    goal: str,
    what: str,
    *,
    rows: int,
    floor: Callable[[], object],
    product: Callable[[], object],
    at_most: float,
    pairs: int = 30,
    warm: int = 2,
) -> Row:
    """Median of the pairwise ratios product / floor, with its quartiles; both are warmed first."""
    for _ in range(warm):
        floor()
        product()
    times = [(_seconds(floor), _seconds(product)) for _ in range(pairs)]
    ratios = sorted(p / f for f, p in times)
    quartiles = statistics.quantiles(ratios, n=4) if len(ratios) > 1 else [ratios[0]] * 3
    return Row(
        goal,
        what,
        rows,
        1000 * statistics.median(f for f, _ in times),
        1000 * statistics.median(p for _, p in times),
        statistics.median(ratios),
        (quartiles[0], quartiles[2]),
        at_most,
    )


def _seconds(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
