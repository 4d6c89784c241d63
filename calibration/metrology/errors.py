from __future__ import annotations

from dataclasses import dataclass

import numpy as np


def percent_errors(observed, expected, *, signal_span):
    return 100 * (np.asarray(observed, dtype=float) - expected) / signal_span


@dataclass(frozen=True)
class Figures:
    largest: float
    at_zero: float | None
    at_span: float | None
    hysteresis: float | None
    n: int


def figures(applied_percent, errors, rising, run) -> Figures:
    p, e = np.asarray(applied_percent, float), np.asarray(errors, float)
    low, high = p.min(), p.max()
    hyst = None
    for r in set(np.asarray(run).tolist()):
        for x in set(p.tolist()):
            here = (p == x) & (np.asarray(run) == r)
            up, down = e[here & np.asarray(rising)], e[here & ~np.asarray(rising)]
            if up.size and down.size:
                hyst = max(hyst or 0.0, abs(float(up.mean() - down.mean())))
    return Figures(
        largest=float(e[np.abs(e).argmax()]),
        at_zero=float(e[p == low].mean()) if abs(low) <= 5 else None,
        at_span=float(e[p == high].mean()) if abs(high - 100) <= 5 else None,
        hysteresis=hyst,
        n=e.size,
    )
