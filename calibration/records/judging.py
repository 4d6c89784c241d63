"""From readings as sent to errors, bands, verdicts and figures. Shared by submission, amendment and
import.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np

from calibration.metrology.decision import (
    Verdict,
    acceptance_by_risk,
    guarded_acceptance,
    simple_acceptance,
    worst,
)
from calibration.metrology.errors import Figures, figures, percent_errors
from calibration.policies.models import Policy
from calibration.records.models import Reading
from plant.level.signals import SIGNALS, band_of, expected_at, percent_at

if TYPE_CHECKING:
    from calibration.records.budgets import Test
    from calibration.records.uncertainty import Doubt
from calibration.records.sent import SentReading

FAILURES = ("failure low", "failure high")


class Range(NamedTuple):
    """What a reading is judged against: range values in the point's unit, signal key, tolerance in
    % of span.
    """

    lower: float
    upper: float
    signal: str
    tolerance_percent: float


@dataclass(frozen=True)
class Judged:
    """One stage of a record: a row per reading, and the stage's figures (None: no usable
    reading).
    """

    readings: list[Reading]
    errors: list[float]
    figures: Figures | None
    verdict: str
    shows_failure: bool


def verdicts_by(
    policy: Policy, errors: np.ndarray, tolerance: float, doubt: Doubt | None
) -> list[Verdict]:
    """By the decision rule: simple acceptance, a guard band of so many U, or a limit on the risk of
    a false accept.

    Without an uncertainty nothing but simple acceptance can be said.
    """
    if doubt is not None and policy.rule == Policy.Rule.GUARD:
        return guarded_acceptance(errors, tolerance, float(policy.guard_share) * doubt.expanded)
    if doubt is not None and policy.rule == Policy.Rule.RISK:
        risk = float(policy.risk_percent) / 100
        return acceptance_by_risk(errors, tolerance, doubt.u, risk=risk, dof=doubt.dof)
    return simple_acceptance(errors, tolerance)


def judge(
    sent: Sequence[SentReading],
    against: Range,
    *,
    policy: Policy | None = None,
    doubt: Doubt | None = None,
) -> Judged:
    """Judge the readings of one stage by the policy's decision rule, or else by simple acceptance.

    Where an indication was read it decides (a custody tolerance cannot be proved through the loop);
    otherwise the output does. A reading in an NE 43 failure band fails and stays out of the
    figures: it tells of a failure.
    """
    if not sent:
        return Judged([], [], None, "", False)
    signal = SIGNALS[against.signal]
    applied = np.array([float(r.applied) for r in sent])
    observed = np.array([np.nan if r.observed is None else float(r.observed) for r in sent])
    ends = {"lower": against.lower, "upper": against.upper}
    expected = np.asarray(expected_at(applied, observed, **ends, signal=signal))
    errors = np.array(
        [_error(r, e, against) for r, e in zip(sent, expected, strict=True)], dtype=float
    )
    bands = [
        "measuring" if r.observed is None else band_of(float(r.observed), signal).value
        for r in sent
    ]
    failed = np.array([band in FAILURES for band in bands])
    verdicts = [
        "fail" if bad else verdict.value
        for bad, verdict in zip(
            failed,
            verdicts_by(policy or Policy(), errors, against.tolerance_percent, doubt),
            strict=True,
        )
    ]
    expanded = [None] * len(sent) if doubt is None else doubt.expanded.tolist()
    percent = percent_at(applied, **ends)
    good = ~failed
    rising = np.array([r.rising for r in sent])
    run = np.array([r.run for r in sent])
    return Judged(
        readings=[
            Reading(
                stage=r.stage,
                run=r.run,
                sequence=r.sequence,
                rising=r.rising,
                applied=r.applied,
                expected=Decimal(str(round(float(e), 5))),
                observed=r.observed,
                observed_indication=r.indication,
                error_percent=float(error),
                expanded_percent=u,
                band=band,
                verdict=verdict,
                origin=r.origin,
                read_at=r.read_at,
            )
            for r, e, error, u, band, verdict in zip(
                sent, expected, errors, expanded, bands, verdicts, strict=True
            )
        ],
        errors=[float(e) for e in errors[good]],
        figures=figures(percent[good], errors[good], rising[good], run[good])
        if good.any()
        else None,
        verdict=worst(verdicts).value,
        shows_failure=bool(failed.any()),
    )


def _error(reading: SentReading, expected: float, against: Range) -> float:
    """Error in % of span; by the indication where there is one."""
    if reading.indication is not None:
        span = abs(against.upper - against.lower)
        return 100 * float(reading.indication - reading.applied) / span
    observed = float(cast(Decimal, reading.observed))
    signal = SIGNALS[against.signal]
    return float(percent_errors(observed, expected, signal_span=signal.high - signal.low))


STAGES = ("as it stands", "as found", "as left")


def judge_test(
    stages: Mapping[str, Sequence[SentReading]], against: Range, test: Test, policy: Policy
) -> tuple[dict[str, Judged], dict[str, Any]]:
    """All stages of one test with their uncertainty; and what the record keeps of it, as its
    columns are named.
    """
    readings = [reading for stage in STAGES for reading in stages[stage]]
    doubt = test.doubt(readings)
    judged, at = {}, 0
    for stage in STAGES:
        rows = slice(at, at + len(stages[stage]))
        some = doubt.some(rows) if doubt and stages[stage] else None
        judged[stage] = judge(stages[stage], against, policy=policy, doubt=some)
        at = rows.stop
    facts: dict[str, Any] = {"decision_rule": policy.rule_text}
    # A reading as it stands is a look, often at no test point: the budget is that of the test
    # proper.
    proper = doubt.some(slice(len(stages[STAGES[0]]), at)) if doubt else None
    if proper is not None and proper.u.size:
        facts |= proper.facts(against.tolerance_percent)
        facts["budget"]["rule"] = rule_of(policy)
    return judged, facts


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
