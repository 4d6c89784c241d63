"""How often the 95 % band holds the next as found, on simulated fleets whose truth is known.

``python -m tests.bench.coverage [instruments]`` prints the table, with jumps and the closed loop
of intervals. The suite runs the same functions on fewer instruments.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calibration.metrology.families import fit_families
from calibration.metrology.histories import Histories, histories
from calibration.metrology.intervals import propose
from calibration.metrology.jumps import Jumps, fit_without_jumps, flag_jumps
from calibration.metrology.wander import Band, Prior, default_prior, outlook

TOLERANCE, U, ADJUST_BEYOND = 0.5, 0.05, 0.25  # % of span
VISITS = (2, 3, 4, 6, 10)


@dataclass(frozen=True)
class Truth:
    """Rates are normal, % a year; walk in % per √year; walking: the share of instruments that
    walk.
    """

    rate: float = 0.12
    rate_sd: float = 0.08
    walk: float = 0.0
    walking: float = 1.0

    def draw(self, rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
        """Rate and process variance of n instruments."""
        walks = rng.random(n) < self.walking
        return rng.normal(self.rate, self.rate_sd, n), np.where(walks, self.walk**2, 0.0)


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
    """Gaps of 0.3 to 2 years; adjusted where the reading is beyond half the tolerance.

    jump: visits by n, added to the true error on the way to that visit.
    """
    rate, q = truth.draw(rng, n)
    gaps = rng.uniform(0.3, 2.0, (visits, n))
    x = rng.normal(0, 0.02, n)
    found, left, was = np.empty((visits, n)), np.empty((visits, n)), np.ones((visits, n), bool)
    for k in range(visits):
        if k:
            x = x + rate * gaps[k] + np.sqrt(q * gaps[k]) * rng.normal(size=n)
            x = x if jump is None else x + jump[k]
        found[k] = x + U * rng.normal(size=n)
        was[k] = (np.abs(found[k]) > ADJUST_BEYOND) | (k == 0)
        x = np.where(was[k], rng.normal(0, 0.02, n), x)
        left[k] = np.where(was[k], x + U * rng.normal(size=n), found[k])
    return Fleet(np.cumsum(gaps, axis=0), found, left, was, rate, q)


def prior_for(history: Histories, family_size: int) -> Prior:
    """Fitted to families of this size, or the default for 0."""
    if not family_size:
        return default_prior(TOLERANCE)
    member = np.arange(len(history)) // family_size
    return fit_families(history, member, TOLERANCE).of(member)


def knowing_everything(fleet: Fleet, truth: Truth, history: Histories) -> Prior:
    """Each instrument's own q, and the law its rate was drawn from."""
    one = np.ones(1)
    return Prior(
        truth.rate * one, truth.rate_sd * one, 0 * one, fleet.q[None, :], np.ones((1, 1)), one
    )


@dataclass(frozen=True)
class Cell:
    covered: float
    width: float


def cell(fleet: Fleet, visits: int, prior: Prior) -> Cell:
    """Share of next as founds within the band from the first ``visits``, %, and its mean width."""
    history = fleet.first(visits)
    ahead = fleet.years[visits] - fleet.years[visits - 1]
    band: Band = outlook(history, prior).next_as_found(ahead, U)
    inside = (fleet.found[visits] >= band.lower) & (fleet.found[visits] <= band.upper)
    return Cell(100 * float(inside.mean()), float((band.upper - band.lower).mean()))


def cells(
    truth: Truth, n: int, family_size: int, seed: int, visits: tuple[int, ...] = VISITS
) -> dict[int, tuple[Cell, Cell]]:
    """For each number of visits the method's cell and that of a band that knows everything."""
    fleet = simulate(truth, n, max(visits) + 1, np.random.default_rng(seed))
    out = {}
    for v in visits:
        history = fleet.first(v)
        best = cell(fleet, v, knowing_everything(fleet, truth, history))
        out[v] = (cell(fleet, v, prior_for(history, family_size)), best)
    return out


# ---- jumps ----
@dataclass(frozen=True)
class JumpShares:
    """In %: jumps flagged at the right increment, and clean histories flagged."""

    right: float
    false: float


def flags_of(history: Histories, family: np.ndarray) -> Jumps:
    """The jumps flagged where each family is fitted to its own members."""
    return flag_jumps(history, fit_without_jumps(history, family, TOLERANCE).of(family))


def jump_shares(truth: Truth, n: int, visits: int, family_size: int, seed: int) -> JumpShares:
    """One history in ten has a jump of five times the scatter of an increment."""
    rng = np.random.default_rng(seed)
    has = rng.random(n) < 0.1
    at = rng.integers(1, visits, n)
    size = 5 * np.sqrt(2 * U**2 + truth.walk**2 * truth.walking * 1.15) * rng.choice([-1, 1], n)
    jump = np.zeros((visits, n))
    jump[at, np.arange(n)] = np.where(has, size, 0.0)
    history = simulate(truth, n, visits, rng, jump=jump).first(visits)
    flags = flags_of(history, np.arange(n) // family_size).flags
    right = flags[at - 1, np.arange(n)][has]
    return JumpShares(100 * float(right.mean()), 100 * float(flags[:, ~has].any(axis=0).mean()))


# ---- closed loop ----
@dataclass(frozen=True)
class Loop:
    """In %: as found in tolerance, over all intervals and over those that no bound cut.

    interval: mean, years.
    """

    inside: float
    uncut: float
    uncut_share: float
    interval: float
    adjusted: float


class _Rule(Protocol):
    """What decides the next interval. ``visits`` is the history so far, oldest first."""

    def next(self, visits: list[tuple[np.ndarray, ...]], current: np.ndarray) -> tuple: ...


class FixedYear(_Rule):
    def next(self, visits, current):
        return np.ones_like(current), np.ones(len(current), bool)


class Staircase(_Rule):
    def __init__(self, target: float = 0.95) -> None:
        self.shorter = 1 - 1.1 ** (-target / (1 - target))  # stands still at the target

    def next(self, visits, current):
        inside = np.abs(visits[-1][1]) <= TOLERANCE
        years = current * np.where(inside, 1.1, 1 - self.shorter)
        return np.clip(years, 0.25, 5.0), np.ones(len(current), bool)


class Drift(_Rule):
    """The drift rule with families of this size, refitted at each visit number."""

    def __init__(self, family_size: int, target: float = 0.95) -> None:
        self.family_size, self.target, self.prior = family_size, target, None

    def next(self, visits, current):
        history = histories(*(np.array(column) for column in zip(*visits, strict=True)), U)
        member = np.arange(len(history)) // self.family_size
        self.prior = fit_families(history, member, TOLERANCE, start=self.prior, iterations=15)
        of = outlook(history, self.prior.of(member))
        made = propose(of, TOLERANCE, U, current=current, target=self.target)
        return made.years, made.cut


def closed_loop(truth: Truth, rule: _Rule, n: int, seed: int, *, span: float = 20.0) -> Loop:
    """Calibrate n instruments for ``span`` years; the rule chooses each interval."""
    rng = np.random.default_rng(seed)
    rate, q = truth.draw(rng, n)
    x, now, interval = rng.normal(0, 0.02, n), np.zeros(n), np.ones(n)
    cut = np.ones(n, dtype=bool)
    first = x + U * rng.normal(size=n)
    visits = [(now, first, first, np.ones(n, bool))]
    tally: list[tuple[np.ndarray, ...]] = []
    while (now < span).any():
        now = now + interval
        x = x + rate * interval + np.sqrt(q * interval) * rng.normal(size=n)
        found = x + U * rng.normal(size=n)
        was = np.abs(found) > ADJUST_BEYOND
        x = np.where(was, rng.normal(0, 0.02, n), x)
        left = np.where(was, x + U * rng.normal(size=n), found)
        visits.append((now, found, left, was))
        counts = now <= span
        tally.append(tuple(c[counts] for c in (np.abs(found) <= TOLERANCE, cut, interval, was)))
        if not counts.any():
            break
        interval, cut = rule.next(visits, interval)
    inside, cuts, intervals, was = (np.concatenate(column) for column in zip(*tally, strict=True))
    return Loop(
        100 * inside.mean(),
        100 * inside[~cuts].mean() if (~cuts).any() else float("nan"),
        100 * float((~cuts).mean()),
        intervals.mean(),
        100 * was.mean(),
    )


# ---- the full form ----
def main(n: int) -> None:
    began = time.process_time()
    say = sys.stdout.write
    say(f"95 % band for the next as found, {n:,} instruments a cell: % covered / mean width / ")
    say(f"width to the best. Monte Carlo sd {100 * (0.95 * 0.05 / n) ** 0.5:.2f} points.\n")
    for size, name in ((2000, "family of 2,000"), (25, "family of 25"), (0, "alone")):
        for kind, truth in TRUTHS.items():
            row = cells(truth, n, size, seed=7)
            text = "  ".join(
                f"{v}: {own.covered:5.1f} /{own.width:5.2f} /{own.width / best.width:5.2f}"
                for v, (own, best) in row.items()
            )
            say(f"{name:16} {kind:14} {text}\n")
    say("\nJumps of 5 × an increment's scatter, one history in ten: % found / % false\n")
    for kind in ("linear", "walk"):
        for size in (2000, 25):
            got = {v: jump_shares(TRUTHS[kind], min(n, 8000), v, size, 11) for v in (5, 6, 10)}
            text = "  ".join(f"{v}: {g.right:5.1f} /{g.false:4.1f}" for v, g in got.items())
            say(f"family of {size:<6} {kind:14} {text}\n")
    say(
        "\nClosed loop of 20 years, target 95 %, families of 25: % in / % in, uncut (share) / "
        "years\n"
    )
    loop = min(n, 4000)
    for kind, truth in LOOPS.items():
        for name, rule in (
            ("drift", Drift(25)),
            ("fixed", FixedYear()),
            ("staircase", Staircase()),
        ):
            g = closed_loop(truth, rule, loop, 13)
            say(f"{kind:14} {name:10} {g.inside:5.1f} / {g.uncut:5.1f} ({g.uncut_share:3.0f} %)")
            say(f" / {g.interval:4.2f}, adjusted {g.adjusted:3.0f} %\n")
    say(f"\n{time.process_time() - began:.0f} s of processor time\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
