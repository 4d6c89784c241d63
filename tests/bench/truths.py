"""Simulated fleets whose truth is known: how the error moves, how it is read, and when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.metrology.histories import Histories, histories

TOLERANCE, U, ADJUST_BEYOND = 0.5, 0.05, 0.25  # % of span
JUMP = 0.6  # % of span, up or down
_T4 = np.sqrt(2.0)  # standard deviation of a t distribution with four degrees of freedom


@dataclass(frozen=True)
class Truth:
    """Rates are normal, % a year; walk in % per √year; walking: the share of instruments that
    walk.

    jumps: a year, of JUMP each. swing: of the season, ±, in every reading. heavy_noise,
    heavy_walk: t4 instead of normal, of the same standard deviation. gaps: years between visits,
    the shortest and the longest. turn: the rate changes by ± so much at one time, anywhere in the
    history. growth: the rate of later years over that of the first, a year; below zero it fades,
    by so much of itself.
    """

    rate: float = 0.12
    rate_sd: float = 0.08
    walk: float = 0.0
    walking: float = 1.0
    jumps: float = 0.0
    swing: float = 0.0
    heavy_noise: bool = False
    heavy_walk: bool = False
    gaps: tuple[float, float] = (0.3, 2.0)
    turn: float = 0.0
    growth: float = 0.0

    def draw(self, rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Rate and process variance of n instruments."""
        walks = rng.random(n) < self.walking
        return rng.normal(self.rate, self.rate_sd, n), np.where(walks, self.walk**2, 0.0)

    def clock(self, years: np.ndarray) -> np.ndarray:
        """Years of drift at the first year's rate."""
        if self.growth < 0:
            return -np.expm1(self.growth * years) / -self.growth
        return years + self.growth * years**2 / 2

    def noise(self, rng: np.random.Generator, n: int) -> np.ndarray:
        return U * (rng.standard_t(4, n) / _T4 if self.heavy_noise else rng.normal(size=n))

    def step(self, rng: np.random.Generator, n: int) -> np.ndarray:
        return rng.standard_t(4, n) / _T4 if self.heavy_walk else rng.normal(size=n)


TRUTHS = {
    "linear": Truth(),
    "walk": Truth(walk=0.10),
    "half and half": Truth(walk=0.14, walking=0.5),
}
LOOPS = TRUTHS | {
    "slow": Truth(0.0, 0.03),
    "fast": Truth(0.3, 0.1),
    "strong walk": Truth(walk=0.20),
}
# Beyond what the method assumes.
OTHERS = {
    "season of 0.2 %": Truth(swing=0.2),
    "5 jumps in 100 years": Truth(jumps=0.05),
    "rate changes once": Truth(turn=0.15),
    "t4 noise": Truth(heavy_noise=True),
    "t4 walk": Truth(walk=0.10, heavy_walk=True),
    "gaps of three years": Truth(walk=0.14, walking=0.5, gaps=(2.5, 3.5)),
    "saturating": Truth(growth=-0.3),
    "accelerating": Truth(growth=0.3),
}


@dataclass(frozen=True)
class Fleet:
    """Visits by instruments, as read."""

    years: np.ndarray
    found: np.ndarray
    left: np.ndarray
    adjusted: np.ndarray
    rate: np.ndarray
    q: np.ndarray

    def first(self, visits: int) -> Histories:
        return histories(
            self.years[:visits], self.found[:visits], self.left[:visits], self.adjusted[:visits], U
        )


def simulate(
    truth: Truth, n: int, visits: int, rng: np.random.Generator, *, jump: np.ndarray | None = None
) -> Fleet:
    """Adjusted where the reading is beyond half the tolerance.

    jump: visits by n, added to the true error on the way to that visit.
    """
    rate, q = truth.draw(rng, n)
    gaps = rng.uniform(*truth.gaps, (visits, n))
    x = rng.normal(0, 0.02, n)
    found, left, was = np.empty((visits, n)), np.empty((visits, n)), np.ones((visits, n), bool)
    drift, swing = _drift(truth, rate, np.cumsum(gaps, axis=0), rng)
    for k in range(visits):
        if k:
            x = x + drift[k] + np.sqrt(q * gaps[k]) * truth.step(rng, n)
            x = x if jump is None else x + jump[k]
        found[k] = x + swing[k] + truth.noise(rng, n)
        was[k] = (np.abs(found[k]) > ADJUST_BEYOND) | (k == 0)
        x = np.where(was[k], rng.normal(0, 0.02, n) - swing[k], x)
        left[k] = np.where(was[k], x + swing[k] + truth.noise(rng, n), found[k])
    return Fleet(np.cumsum(gaps, axis=0), found, left, was, rate, q)


def _drift(
    truth: Truth, rate: np.ndarray, years: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """What each visit adds to the true error, and the season's part of its readings."""
    since = years - years[0]
    gone = rate * truth.clock(since)
    if truth.turn:
        at = rng.uniform(0, since[-1])
        gone = gone + truth.turn * rng.choice([-1, 1], rate.shape) * np.maximum(since - at, 0)
    drift = np.diff(gone, axis=0, prepend=0.0)
    if truth.jumps:
        came = rng.poisson(truth.jumps * np.diff(years, axis=0, prepend=years[:1]))
        drift = drift + came * rng.choice([-JUMP, JUMP], years.shape)
    if not truth.swing:
        return drift, np.zeros_like(years)
    season = rng.uniform(0, 1, rate.shape)
    return drift, truth.swing * np.sin(2 * np.pi * (years + season))
