"""Honest limits from pass and fail: how often they hold on simulated families whose truth is known.

``python -m tests.bench.reliability [families]`` prints the table; the suite runs the same
functions on fewer families.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from calibration.metrology.drift import CannotFit
from calibration.metrology.fit_checks import goodness_of_fit, homogeneity
from calibration.metrology.reliability import ReliabilityFit, fit_exponential, fit_weibull
from calibration.metrology.visit_results import Results, times_since_renewal

TARGET = 0.95
BAND_AT = (0.5, 1.0, 2.0, 3.0)  # years since renewal
LENGTHS = (0.5, 1.0, 2.0)


@dataclass(frozen=True)
class Law:
    """R(1 year) = 0.95.

    alike: how far the times of one instrument go together, as a correlation of normal scores.
    """

    shape: float = 1.0
    alike: float = 0.0

    def reliability(self, years: np.ndarray) -> np.ndarray:
        return np.exp(math.log(TARGET) * years**self.shape)

    def draw(self, own: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """A new time of going out for each instrument."""
        score = math.sqrt(self.alike) * own + math.sqrt(1 - self.alike) * rng.normal(size=len(own))
        return (np.log(ndtr(score)) / math.log(TARGET)) ** (1 / self.shape)


def results_of_visits(instrument, years, found_in, renewed) -> Results:
    """Results of the visits that count, from one row a visit in any order."""
    visits = times_since_renewal(instrument, years, found_in, renewed)
    return Results.of(np.asarray(instrument)[visits.row], visits.start, visits.end, visits.out)


def family(law: Law, instruments: int, visits: int, rng: np.random.Generator) -> Results:
    """Visits half a year, one or two years apart; half of those in tolerance are adjusted too."""
    own = rng.normal(size=instruments)
    goes_out, clock, now = law.draw(own, rng), np.zeros(instruments), np.zeros(instruments)
    rows = [(np.arange(instruments), now, np.ones(instruments, bool), np.ones(instruments, bool))]
    for _ in range(visits):
        now = now + rng.choice(LENGTHS, instruments) * rng.uniform(0.9, 1.1, instruments)
        inside = now - clock < goes_out
        renewed = ~inside | (rng.random(instruments) < 0.5)
        rows.append((np.arange(instruments), now, inside, renewed))
        goes_out = np.where(renewed, law.draw(own, rng), goes_out)
        clock = np.where(renewed, now, clock)
    return results_of_visits(*(np.concatenate(column) for column in zip(*rows, strict=True)))


@dataclass(frozen=True)
class Held:
    """In %: families with a fit, and how often the limits of these hold.

    One-sided 95 % limits of the rate, of the interval to the target and of R at each of BAND_AT
    (lower and upper); and how often goodness of fit and homogeneity reject at 5 %.
    """

    fitted: float
    rate: float
    interval: float
    band_low: list[float]
    band_high: list[float]
    misfit: float
    split: float


def held(
    law: Law, instruments: int, visits: int, families: int, seed: int, *, weibull: bool
) -> Held:
    rng = np.random.default_rng(seed)
    fit_it = fit_weibull if weibull else fit_exponential
    rows, misfits, splits = [], [], []
    for _ in range(families):
        seen = family(law, instruments, visits, rng)
        try:
            fit = fit_it(seen, confidence=0.90)
        except CannotFit:
            continue
        rows.append(_holds(fit, law))
        _judge(seen, fit, rng, misfits, splits)
    share = 100 * np.array(rows, dtype=float).mean(axis=0)
    n = len(BAND_AT)
    return Held(
        100 * len(rows) / families,
        share[0],
        share[1],
        share[2 : 2 + n].tolist(),
        share[2 + n :].tolist(),
        100 * float(np.mean(misfits)) if misfits else math.nan,
        100 * float(np.mean(splits)),
    )


def _holds(fit: ReliabilityFit, law: Law) -> list[bool]:
    low, high = fit.band(BAND_AT)
    truth = law.reliability(np.array(BAND_AT))
    return [
        fit.rate_limits.upper >= -math.log(TARGET),
        fit.interval_limits(TARGET).lower <= 1.0,
        *(low <= truth),
        *(high >= truth),
    ]


def _judge(
    seen: Results, fit: ReliabilityFit, rng: np.random.Generator, misfits: list, splits: list
) -> None:
    groups = np.arange(seen.instruments) % 3
    # Of 99 exchanges and the groups as they are, 5 in 100 lie at the end: the level is exact.
    splits.append(homogeneity(seen, groups, rng, permutations=99).p_value <= 0.05)
    try:
        misfits.append(goodness_of_fit(seen, fit).p_value <= 0.05)
    except CannotFit:
        return


CASES = [
    (Law(), 20, 6, False),
    (Law(), 100, 6, False),
    (Law(alike=0.5), 100, 6, False),
    (Law(), 300, 6, False),
    (Law(3.0), 25, 6, True),
    (Law(3.0), 100, 6, True),
    (Law(3.0, 0.5), 100, 6, True),
    (Law(1.5), 300, 6, True),
]


def main(families: int) -> None:
    began, say = time.process_time(), sys.stdout.write
    sd = 100 * (0.95 * 0.05 / families) ** 0.5
    say(f"One-sided 95 % limits, {families:,} families a row; Monte Carlo sd {sd:.2f} points.\n")
    say(f"R from below and from above at {BAND_AT} years; refused: tests at 5 %.\n")
    for law, instruments, visits, weibull in CASES:
        h = held(law, instruments, visits, families, seed=5, weibull=weibull)
        low, high = (" ".join(f"{v:5.1f}" for v in band) for band in (h.band_low, h.band_high))
        say(
            f"shape {law.shape:3.1f} alike {law.alike:3.1f} {instruments:4} x {visits}: fitted "
            f"{h.fitted:5.1f} "
            f"rate {h.rate:5.1f} interval {h.interval:5.1f}  R below {low}  above {high}  "
            f"misfit {h.misfit:4.1f} split {h.split:4.1f}\n"
        )
    say(f"{time.process_time() - began:.0f} s of processor time\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
