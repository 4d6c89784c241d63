"""From readings to errors, bands, verdicts and figures; for submission, amendment and import."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, NamedTuple, Self, cast

import numpy as np

from calibration.metrology.decision import (
    Verdict,
    acceptance_by_risk,
    guarded_acceptance,
    simple_acceptance,
    worst,
)
from calibration.metrology.errors import Figures, figures, percent_errors
from calibration.metrology.shapes import shape_of
from calibration.policies.models import Policy
from calibration.records.bands import band_of_reading, judged_without_level
from calibration.records.budgets import uncertainty_of
from calibration.records.entry import ReadingEntry, ReadingWithoutLevel
from calibration.records.models import Reading
from calibration.records.models.readings import FAILURES
from calibration.records.setup import Setup
from calibration.records.uncertainty import Uncertainty
from plant.level.signals import SIGNALS, expected_at, percent_at
from plant.level.tolerance import Limits
from plant.points.models import MeasuringPoint

STAGES = ("as it stands", "as found", "as left")


class Range(NamedTuple):
    """What a reading is judged against: range values in the point's unit, signal key, limits of an
    error in % of span.
    """

    lower: float
    upper: float
    signal: str
    limits: Limits

    @classmethod
    def of(cls, register: Mapping[str, Any]) -> Self:
        """Of the columns that a record copies from the register."""
        given = (register[f"tolerance{part}"] for part in ("", "_down", "_sides"))
        return cls(
            float(register["lower"]),
            float(register["upper"]),
            register["signal"],
            Limits.of(*given).scaled_to(register["tolerance_percent"]),
        )

    @classmethod
    def of_point(cls, point: MeasuringPoint) -> Self:
        return cls(float(point.lower), float(point.upper), point.signal, point.error_limits)

    @property
    def tolerance_percent(self) -> float:
        """Half the width of the tolerance, or its one limit."""
        return self.limits.size

    @property
    def ends(self) -> dict[str, float]:
        return {"lower": self.lower, "upper": self.upper}


@dataclass(frozen=True)
class StageResult:
    """One stage of a record: a row per reading, and the stage's figures (None: no usable
    reading).
    """

    readings: list[Reading]
    errors: list[float]
    figures: Figures | None
    verdict: str
    shows_failure: bool
    shape: np.ndarray | None = None


def verdicts_by(
    policy: Policy, errors: np.ndarray, limits: Limits, uncertainty: Uncertainty | None
) -> list[Verdict]:
    """By the decision rule: simple acceptance, a guard band of so many U, or a limit on the risk of
    a false accept.

    Without an uncertainty nothing but simple acceptance can be applied.
    """
    errors, tolerance = limits.off_centre(errors), limits.half
    if uncertainty is not None and policy.rule == Policy.Rule.GUARD:
        guard = float(policy.guard_share) * uncertainty.expanded
        return guarded_acceptance(errors, tolerance, guard)
    if uncertainty is not None and policy.rule == Policy.Rule.RISK:
        risk = float(policy.risk_percent) / 100
        return acceptance_by_risk(errors, tolerance, uncertainty.u, risk=risk, dof=uncertainty.dof)
    return simple_acceptance(errors, tolerance)


def judge(
    readings: Sequence[ReadingEntry],
    against: Range,
    *,
    policy: Policy | None = None,
    uncertainty: Uncertainty | None = None,
) -> StageResult:
    """Judge the readings of one stage by the policy's decision rule, or else by simple acceptance.

    Where an indication was read it decides (a custody tolerance cannot be proved through the loop);
    otherwise the output does. A reading in an NE 43 failure band fails and stays out of the
    figures: it is evidence of a failure. The certified deviations of the standards are corrected
    for.
    """
    if not readings:
        return StageResult([], [], None, "", False)
    expected = _expected(readings, against)
    errors = np.array(
        [_error(r, e, against) for r, e in zip(readings, expected, strict=True)], dtype=float
    )
    if uncertainty is not None:
        errors = errors - uncertainty.shift
    bands = [band_of_reading(r, against.signal) for r in readings]
    failed = np.array([band in FAILURES for band in bands])
    by_rule = verdicts_by(policy or Policy(), errors, against.limits, uncertainty)
    verdicts = ["fail" if bad else v.value for bad, v in zip(failed, by_rule, strict=True)]
    expanded = [None] * len(readings) if uncertainty is None else uncertainty.expanded.tolist()
    columns = zip(expected, errors, expanded, bands, verdicts, strict=True)
    known = _figures(readings, errors, ~failed, against)
    return StageResult(
        readings=[_row(r, *values) for r, values in zip(readings, columns, strict=True)],
        errors=[float(e) for e in errors[~failed]],
        figures=known,
        verdict=worst(verdicts).value,
        shows_failure=bool(failed.any()),
        shape=_shape(readings, errors, ~failed, against, known),
    )


def _expected(readings: Sequence[ReadingEntry], against: Range) -> np.ndarray:
    applied = np.array([float(r.applied) for r in readings])
    observed = np.array([np.nan if r.observed is None else float(r.observed) for r in readings])
    signal = SIGNALS[against.signal]
    return np.asarray(expected_at(applied, observed, **against.ends, signal=signal))


def _error(reading: ReadingEntry, expected: float, against: Range) -> float:
    """Error in % of span; by the indication where there is one."""
    if reading.indication is not None:
        span = abs(against.upper - against.lower)
        return 100 * float(reading.indication - reading.applied) / span
    observed = float(cast(Decimal, reading.observed))
    return float(percent_errors(observed, expected, signal_span=SIGNALS[against.signal].span))


def _row(
    entry: ReadingEntry,
    expected: float,
    error: float,
    expanded: float | None,
    band: str,
    verdict: str,
) -> Reading:
    return Reading(
        stage=entry.stage,
        run=entry.run,
        sequence=entry.sequence,
        rising=entry.rising,
        applied=entry.applied,
        expected=Decimal(str(round(float(expected), 5))),
        observed=entry.observed,
        observed_indication=entry.indication,
        error_percent=float(error),
        expanded_percent=expanded,
        band=band,
        verdict=verdict,
        origin=entry.origin,
        read_at=entry.read_at,
    )


def _figures(
    readings: Sequence[ReadingEntry], errors: np.ndarray, good: np.ndarray, against: Range
) -> Figures | None:
    if not good.any():
        return None
    percent = percent_at(np.array([float(r.applied) for r in readings]), **against.ends)
    rising = np.array([r.rising for r in readings])
    run = np.array([r.run for r in readings])
    known = figures(percent[good], errors[good], rising[good], run[good])
    return replace(known, largest=against.limits.furthest(errors[good].tolist()))


def _shape(
    readings: Sequence[ReadingEntry],
    errors: np.ndarray,
    good: np.ndarray,
    against: Range,
    known: Figures | None,
) -> np.ndarray | None:
    """None where the errors at zero and span are not both known."""
    if known is None or known.at_zero is None or known.at_span is None:
        return None
    percent = percent_at(np.array([float(r.applied) for r in readings]), **against.ends)
    rising = np.array([r.rising for r in readings])
    ends = {"zero": known.at_zero, "span": known.at_span}
    return shape_of(percent[good], errors[good], rising[good], **ends)


def shape_column(found: StageResult, left: StageResult) -> list[float] | None:
    """The mean shape of both tests as a record keeps it; what was found failed speaks of no
    shape.
    """
    stages = [left] if found.shows_failure else [found, left]
    shapes = [stage.shape for stage in stages if stage.shape is not None]
    if not shapes:
        return None
    known = np.ma.masked_invalid(shapes).mean(axis=0).filled(np.nan)
    return known.tolist()


def figure_columns(stage: str, result: StageResult) -> dict[str, Any]:
    """A stage's figures as the columns of a record; ``stage``: "found" or "left"."""
    figures = result.figures
    return {
        f"{stage}_errors": result.errors,
        f"{stage}_largest": figures and figures.largest,
        f"{stage}_at_zero": figures and figures.at_zero,
        f"{stage}_at_span": figures and figures.at_span,
        f"{stage}_hysteresis": figures and figures.hysteresis,
        f"{stage}_verdict": result.verdict,
    }


def judge_stages(
    stages: Mapping[str, Sequence[ReadingEntry]],
    against: Range,
    setup: Setup,
    policy: Policy,
    without_level: Sequence[ReadingWithoutLevel] = (),
) -> tuple[dict[str, StageResult], dict[str, Any]]:
    """All stages of one test with their uncertainty; and what the record keeps of the uncertainty,
    as its columns are named. ``without_level``: further readings as it stands.
    """
    readings = [reading for stage in STAGES for reading in stages[stage]]
    uncertainty = uncertainty_of(setup, readings)
    results, at = {}, 0
    for stage in STAGES:
        rows = slice(at, at + len(stages[stage]))
        some = uncertainty.some(rows) if uncertainty and stages[stage] else None
        results[stage] = judge(stages[stage], against, policy=policy, uncertainty=some)
        at = rows.stop
    extra = [judged_without_level(entry, against.signal) for entry in without_level]
    results[STAGES[0]] = _with_more(results[STAGES[0]], extra)
    columns: dict[str, Any] = {"decision_rule": policy.rule_text}
    # A reading as it stands is a look, often at no test point: the budget is that of the test
    # proper.
    proper = uncertainty.some(slice(len(stages[STAGES[0]]), at)) if uncertainty else None
    if proper is not None and proper.u.size:
        columns |= proper.columns(against.limits)
        columns["budget"]["rule"] = rule_of(policy)
    return results, columns


def _with_more(standing: StageResult, extra: list[Reading]) -> StageResult:
    """As it stands with its readings without a level, which have no part in the figures."""
    if not any(reading.band in FAILURES for reading in extra):
        return replace(standing, readings=[*standing.readings, *extra])
    readings = [*standing.readings, *extra]
    return replace(standing, readings=readings, verdict=Verdict.FAIL.value, shows_failure=True)


def with_what_it_stood_at(results: dict[str, StageResult]) -> dict[str, StageResult]:
    """A transmitter found dead is a result: where it stood in a failure band it was found failed,
    whatever could be read after; where it stood out of tolerance and as found could not be read,
    it was found so. It is left so too, unless as left was read.
    """
    standing, found, _ = (results[stage] for stage in STAGES)
    if standing.verdict != Verdict.FAIL or (found.readings and not standing.shows_failure):
        return results
    failed = replace(found, verdict=Verdict.FAIL.value, shows_failure=standing.shows_failure)
    if not standing.shows_failure:
        # A look at one level: it shows neither zero nor span nor a hysteresis.
        figures = standing.figures and replace(
            standing.figures, at_zero=None, at_span=None, hysteresis=None
        )
        failed = replace(failed, errors=standing.errors, figures=figures)
    return results | {"as found": failed}


def rule_of(policy: Policy) -> dict[str, str]:
    """The decision rule as a record keeps it, so that an amendment is judged by the rule of its
    day.
    """
    return {
        "rule": policy.rule,
        "guard_share": str(policy.guard_share),
        "risk_percent": str(policy.risk_percent),
        "least_tur": str(policy.least_tur),
    }


def policy_of(rule: dict[str, str]) -> Policy:
    """The reverse of rule_of."""
    numbers = {name: Decimal(value) for name, value in rule.items() if name != "rule"}
    return Policy(rule=rule["rule"], **numbers)
