"""Drift by an ordinary line through what accumulates between an as left and the next as found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.optimize import brentq


def accumulated_drift(as_found, as_left) -> np.ndarray:
    """Running sum of as found minus the last as left; starts at 0. Adjustments take nothing away."""
    found, left = np.asarray(as_found, float), np.asarray(as_left, float)
    if found.shape != left.shape or found.ndim != 1 or found.size == 0:
        raise ValueError("as_found and as_left: two sequences of the same length, at least one result")
    increments = found[1:] - left[:-1]
    if np.isnan(increments).any():
        raise ValueError("as_found and as_left: a value is missing")
    return np.concatenate([[0.0], np.cumsum(increments)])


@dataclass(frozen=True)
class LineFit:
    n: int
    slope: float
    intercept: float
    se_slope: float
    se_intercept: float
    residual_sd: float
    dof: int
    mean_x: float
    sxx: float

    def t(self, confidence: float = 0.95) -> float:
        return float(stats.t.ppf(0.5 + confidence / 2, self.dof))

    def predict(self, x, confidence: float = 0.95):
        x = np.asarray(x, float)
        half = self.t(confidence) * self.residual_sd * np.sqrt(1 + 1 / self.n + (x - self.mean_x) ** 2 / self.sxx)
        return self.intercept + self.slope * x, half

    def slope_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        half = self.t(confidence) * self.se_slope
        return self.slope - half, self.slope + half


def fit_line(x, y) -> LineFit:
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError("x and y: two sequences of the same length")
    if x.size < 3:
        raise ValueError(f"x: {x.size} results; a line with its scatter needs at least 3")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("x and y: every value must be a finite number")
    n, mx, my = x.size, x.mean(), y.mean()
    dx = x - mx
    sxx = float(dx @ dx)
    if sxx == 0:
        raise ValueError("x: all results are of one day; a line needs different days")
    slope = float(dx @ (y - my)) / sxx
    intercept = float(my - slope * mx)
    r = y - my - slope * dx
    s = float(np.sqrt(r @ r / (n - 2)))
    return LineFit(n, slope, intercept, s / sxx**0.5, s * (1 / n + mx * mx / sxx) ** 0.5, s, n - 2, float(mx), sxx)


@dataclass(frozen=True)
class Crossing:
    line: float | None
    band: float | None
    already_out: bool


def crossing(fit: LineFit, tolerance: float, *, after: float, horizon: float, confidence: float = 0.95) -> Crossing:
    def outside_band(x: float) -> float:
        centre, half = fit.predict(x, confidence)
        return float(abs(centre) + half - tolerance)

    def outside_line(x: float) -> float:
        return abs(fit.intercept + fit.slope * x) - tolerance

    def first(f) -> float | None:
        if f(after) >= 0:
            return after
        grid = np.linspace(after, after + horizon, 241)
        for a, b in zip(grid, grid[1:], strict=False):
            if f(b) >= 0:
                return float(brentq(f, a, b))
        return None

    return Crossing(first(outside_line), first(outside_band), outside_line(after) >= 0)
