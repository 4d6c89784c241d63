"""How long a family stays in tolerance, from the pass and fail of its members."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.families.models import Family
from calibration.families.reads import results_of
from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import (
    FEWEST_FAILURES_WEIBULL,
    FEWEST_RESULTS,
    FEWEST_RESULTS_WEIBULL,
    RateLimit,
    ReliabilityFit,
    fit_exponential,
    fit_weibull,
    rate_limit,
)
from calibration.metrology.visit_results import Results, design_effect

MONTHS_PER_YEAR = 12.0


@dataclass(frozen=True, eq=False)
class Reliability:
    """How long the family stays in tolerance. curve: "weibull", "exponential", "limit" or "" where
    nothing can be said.

    months: until reliability falls to the target by the fitted curve; months_limit: at least so
    long, at the confidence. refusal: why there is no fit, or no more than a limit, in plain words.
    longest_months: the longest time since renewal that was seen; beyond it the curve is only drawn
    on.
    """

    target: float
    confidence: float
    curve: str
    fit: ReliabilityFit | None
    limit: RateLimit | None
    results: int
    failures: int
    instruments: int
    design_effect: float
    longest_months: float
    refusal: str

    @property
    def months(self) -> float | None:
        return None if self.fit is None else MONTHS_PER_YEAR * self.fit.interval(self.target)

    @property
    def months_limit(self) -> float | None:
        if self.fit is not None:
            return MONTHS_PER_YEAR * self.fit.interval_limits(self.target).lower
        return None if self.limit is None else MONTHS_PER_YEAR * self.limit.interval(self.target)


def reliability_of(family: Family, target: float = 0.95, confidence: float = 0.95) -> Reliability:
    """Read the family's results and fit what they allow (one query). target, confidence: as shares,
    0 to 1.
    """
    return reliability(results_of(family).seen, target, confidence)


def reliability(seen: Results | None, target: float, confidence: float) -> Reliability:
    """A Weibull curve where there is enough for it, else a constant rate, else only its limit."""
    if seen is None:
        why = (
            "No transmitter of the family has been calibrated twice yet, so it is not known how "
            "long they stay in tolerance."
        )
        return Reliability(target, confidence, "", None, None, 0, 0, 0, 1.0, 0.0, why)
    curve, fit = _fit(seen, confidence)
    limit = None
    if fit is None and seen.failures < len(seen):
        curve, limit = "limit", rate_limit(seen, confidence=confidence)
    return Reliability(
        target,
        confidence,
        curve,
        fit,
        limit,
        len(seen),
        seen.failures,
        seen.instruments,
        design_effect(seen),
        MONTHS_PER_YEAR * float(seen.end.max()),
        "" if fit else _too_few(seen),
    )


def _fit(seen: Results, confidence: float) -> tuple[str, ReliabilityFit | None]:
    """The richest curve that the results allow, by its name; "" and None where they allow none."""
    for name, fit in (("weibull", fit_weibull), ("exponential", fit_exponential)):
        try:
            # Two-sided at 2c − 1, each end is a limit at c.
            return name, fit(seen, confidence=2 * confidence - 1)
        except CannotFit:
            continue
    return "", None


def _too_few(seen: Results) -> str:
    if seen.failures == len(seen):
        return (
            "Every result so far was out of tolerance: shorten the interval, and look for the "
            "cause."
        )
    if seen.failures == 0:
        return "Nothing has been found out of tolerance yet, so only a limit can be given."
    return (
        f"{len(seen)} results show how long the family stays in tolerance; a curve needs "
        f"{FEWEST_RESULTS}."
    )


def what_a_weibull_needs(reliability: Reliability) -> str:
    """Why the curve is of a constant rate, in plain words; empty where it is not."""
    if reliability.curve != "exponential":
        return ""
    few = (
        reliability.results < FEWEST_RESULTS_WEIBULL
        or reliability.failures < FEWEST_FAILURES_WEIBULL
    )
    if few:
        return (
            f"It takes {FEWEST_RESULTS_WEIBULL} results with {FEWEST_FAILURES_WEIBULL} out of "
            "tolerance to see whether the rate rises with time."
        )
    return (
        "The results cannot show whether the rate rises with time: all visits came after about the "
        "same time, or all went out at about the same time, or some at once and the rest hardly "
        "ever."
    )
