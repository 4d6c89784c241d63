"""The global risks of a decision rule: what share of the results under a policy pass though out of
tolerance, or do not pass though in tolerance. Reads only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np
from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from calibration.metrology.decision import (
    FamilyErrors,
    Risks,
    family_errors,
    global_risks,
    guard_for_risk,
)
from calibration.metrology.staircase import staircase_target
from calibration.policies.models import Policy
from calibration.records.models import Calibration
from plant.level.tolerance import BOTH
from plant.points.models import MeasuringPoint
from plant.quantities import number

NEWEST = 2000  # results at most: older ones say little of today's instruments
LEAST = 3


def results_of_duty(policy: Policy) -> QuerySet[Calibration]:
    """The results of all points of the policy's duty that have no policy of their own."""
    rows = Calibration.objects.standing().filter(site=policy.site_id)
    return rows.filter(point__duty=policy.duty, point__policy=None)


def results_of_point(point: MeasuringPoint) -> QuerySet[Calibration]:
    return Calibration.objects.standing().filter(point=point)


@dataclass(frozen=True)
class Results:
    """Results as found, one place each, in multiples of the tolerance: its largest error, from the
    middle between the limits, and the standard and expanded uncertainty of it.
    """

    errors: np.ndarray
    u: np.ndarray
    expanded: np.ndarray

    @classmethod
    def of(cls, records: QuerySet[Calibration]) -> Self:
        """The newest with an as found and an uncertainty; a failure is no error of measurement, and
        a one-sided tolerance has no width to measure by.
        """
        rows = records.filter(
            found_largest__isnull=False,
            expanded_percent__gt=0,
            shows_failure=False,
            tolerance_sides=BOTH,
        )
        columns = ("found_largest", "expanded_percent", "coverage_factor", "tolerance_percent")
        newest = rows.annotate(down=Coalesce("tolerance_down", "tolerance")).order_by(
            "-done_on", "-id"
        )
        chosen = newest.values_list(*columns, "tolerance", "down")[:NEWEST]
        values = np.array(list(chosen), dtype=float).reshape(-1, len(columns) + 2)
        error, expanded, k, tolerance, up, down = values.T
        off_centre = error / tolerance - (up - down) / (up + down)
        return cls(off_centre, expanded / k / tolerance, expanded / tolerance)

    @property
    def are_enough(self) -> bool:
        return len(self.errors) >= LEAST and float(np.ptp(self.errors)) > 0


@dataclass(frozen=True)
class PolicyRisk:
    """``risks``: shares of all results; ``family``: what they rest on, in multiples of the
    tolerance; ``ratio``: the median of tolerance over U.
    """

    risks: Risks
    family: FamilyErrors
    ratio: float

    @property
    def false_accepts(self) -> str:
        """Of 1,000 results those that pass though out of tolerance."""
        return _of_1000(float(self.risks.consumer))

    @property
    def false_rejects(self) -> str:
        """Of 1,000 results those that do not pass though in tolerance."""
        return _of_1000(float(self.risks.producer))


def risk_of(policy: Policy, records: QuerySet[Calibration]) -> PolicyRisk | None:
    """None where there are too few results with an uncertainty, or all are the same."""
    results = Results.of(records)
    if not results.are_enough:
        return None
    family = family_errors(results.errors, results.u)
    u, expanded = float(np.median(results.u)), float(np.median(results.expanded))
    risks = global_risks(
        1.0, u, family.spread, mean=family.mean, guard=GUARDS[policy.rule](policy, u, expanded)
    )
    return PolicyRisk(risks, family, 1 / expanded)


def _of_1000(share: float) -> str:
    count = 1000 * share
    if count < 0.1:
        return "fewer than 0.1"
    return f"about {number(count, 1 if count < 10 else 0)}"


# The guard band of each rule, in multiples of the tolerance, at this u and U.
GUARDS: dict[str, Callable[[Policy, float, float], float]] = {
    Policy.Rule.SIMPLE: lambda policy, u, expanded: 0.0,
    Policy.Rule.GUARD: lambda policy, u, expanded: float(policy.guard_share) * expanded,
    Policy.Rule.RISK: lambda policy, u, expanded: float(
        guard_for_risk(u, float(policy.risk_percent) / 100)
    ),
}


def staircase_share(policy: Policy) -> float:
    """The share found in tolerance at which the policy's staircase settles."""
    longer, shorter = policy.stair_longer_percent, policy.stair_shorter_percent
    return staircase_target(float(longer) / 100, float(shorter) / 100)
