"""How often the 95 % band holds the next as found, on simulated fleets whose truth is known.

``python -m tests.bench.coverage [instruments]`` prints the whole table, with jumps and the closed
loop of intervals. Everything is judged by the function that the nightly pass runs
(calibration.metrology.fleet_fit); the suite does the same with fewer instruments.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np

from calibration.metrology.fleet_fit import FleetFit, fit_fleet
from calibration.metrology.histories import Histories
from calibration.metrology.wander import Prior, outlook
from tests.bench.closed_loop import Drift, FixedYear, Staircase, closed_loop
from tests.bench.truths import LOOPS, OTHERS, TOLERANCE, TRUTHS, Fleet, Truth, U, simulate

VISITS = (2, 3, 4, 6, 10)
SIZES = {2000: "family of 2,000", 25: "family of 25", 0: "alone"}


def judged(history: Histories, family_size: int) -> FleetFit:
    """As the nightly pass judges families of this size; 0: each instrument alone."""
    return fit_fleet(history, np.arange(len(history)) // max(family_size, 1), TOLERANCE)


def knowing_everything(fleet: Fleet, truth: Truth) -> Prior:
    """Each instrument's own q, and the law its rate was drawn from."""
    one = np.ones(1)
    return Prior(
        truth.rate * one, truth.rate_sd * one, 0 * one, fleet.q[None, :], np.ones((1, 1)), one
    )


@dataclass(frozen=True)
class Cell:
    """covered, flagged, changing: % of next as founds within the band, of histories with a flag,
    and of those whose rate more likely changes than not. width: mean, % of span.
    """

    covered: float
    width: float
    flagged: float = 0.0
    changing: float = 0.0


def cell(fleet: Fleet, visits: int, fit: FleetFit) -> Cell:
    """Of the forecasts from the first ``visits``."""
    flagged = 100 * float(fit.flags.any(axis=0).mean())
    return _cell(fleet, visits, fit.histories, fit.prior, flagged)


def _cell(
    fleet: Fleet, visits: int, history: Histories, prior: Prior, flagged: float = 0.0
) -> Cell:
    ahead = fleet.years[visits] - fleet.years[visits - 1]
    of = outlook(history, prior)
    band = of.next_as_found(ahead, U)
    inside = (fleet.found[visits] >= band.lower) & (fleet.found[visits] <= band.upper)
    width = float((band.upper - band.lower).mean())
    changing = 100 * float((of.changing > 0.5).mean())
    return Cell(100 * float(inside.mean()), width, flagged, changing)


def cells(
    truth: Truth, n: int, family_size: int, seed: int, visits: tuple[int, ...] = VISITS
) -> dict[int, tuple[Cell, Cell]]:
    """For each number of visits the method's cell and that of a band that knows everything."""
    fleet = simulate(truth, n, max(visits) + 1, np.random.default_rng(seed))
    out = {}
    for v in visits:
        history = fleet.first(v)
        best = _cell(fleet, v, history, knowing_everything(fleet, truth))
        out[v] = (cell(fleet, v, judged(history, family_size)), best)
    return out


# ---- jumps ----
@dataclass(frozen=True)
class JumpShares:
    """In %: jumps flagged at the right increment, and clean histories flagged."""

    right: float
    false: float


def jump_shares(truth: Truth, n: int, visits: int, family_size: int, seed: int) -> JumpShares:
    """One history in ten has a jump of five times the scatter of an increment."""
    rng = np.random.default_rng(seed)
    has = rng.random(n) < 0.1
    at = rng.integers(1, visits, n)
    size = 5 * np.sqrt(2 * U**2 + truth.walk**2 * truth.walking * 1.15) * rng.choice([-1, 1], n)
    jump = np.zeros((visits, n))
    jump[at, np.arange(n)] = np.where(has, size, 0.0)
    history = simulate(truth, n, visits, rng, jump=jump).first(visits)
    flags = judged(history, family_size).flags
    right = flags[at - 1, np.arange(n)][has]
    return JumpShares(100 * float(right.mean()), 100 * float(flags[:, ~has].any(axis=0).mean()))


# ---- the full form ----
def main(n: int) -> None:
    began = time.process_time()
    _bands(n)
    _jumps(min(n, 8000))
    _loops(min(n, 4000))
    sys.stdout.write(f"\n{time.process_time() - began:.0f} s of processor time\n")


def _bands(n: int) -> None:
    say = sys.stdout.write
    sd = 100 * (0.95 * 0.05 / n) ** 0.5
    say(f"95 % band for the next as found, {n:,} instruments a cell, Monte Carlo sd {sd:.2f} ")
    say("points: % covered / mean width (/ width to the best) / % flagged / % changing rate\n")
    for size, name in SIZES.items():
        for kind, truth in (TRUTHS | OTHERS).items():
            got = cells(truth, n, size, 7, (3, 4, 5, 6, 8, 10))
            row = "  ".join(f"{v}: {_text(own, best, kind)}" for v, (own, best) in got.items())
            say(f"{name:16} {kind:20} {row}\n")


def _text(own: Cell, best: Cell, kind: str) -> str:
    # Only where the truth is of the kind that the best band rests on.
    ratio = f" /{own.width / best.width:5.2f}" if kind in TRUTHS else ""
    shares = f" /{own.flagged:4.1f} /{own.changing:3.0f}"
    return f"{own.covered:5.1f} /{own.width:5.2f}{ratio}{shares}"


def _jumps(n: int) -> None:
    say = sys.stdout.write
    say("\nJumps of 5 × an increment's scatter, one history in ten: % found / % false\n")
    for kind in TRUTHS:
        for size in (2000, 25):
            got = {v: jump_shares(TRUTHS[kind], n, v, size, 11) for v in (5, 6, 10)}
            text = "  ".join(f"{v}: {g.right:5.1f} /{g.false:4.1f}" for v, g in got.items())
            say(f"family of {size:<6} {kind:14} {text}\n")


def _loops(n: int) -> None:
    say = sys.stdout.write
    say("\nClosed loop of 20 years, target 95 %, families of 25: % in / % in, uncut (share) /")
    say(" years\n")
    for kind, truth in LOOPS.items():
        rules = {"drift": Drift(25), "fixed": FixedYear(), "staircase": Staircase()}
        for name, rule in rules.items():
            g = closed_loop(truth, rule, n, 13)
            say(f"{kind:14} {name:10} {g.inside:5.1f} / {g.uncut:5.1f} ({g.uncut_share:3.0f} %)")
            say(f" / {g.interval:4.2f}, adjusted {g.adjusted:3.0f} %\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
