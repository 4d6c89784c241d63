"""A tolerance from −d to +u judges as one of ± half its width does, once its centre is taken from
every error; and a one-sided tolerance never fails on its open side.
"""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.policies.models import Policy
from calibration.records.judging import Range, judge, verdicts_by
from calibration.records.policy_risk import Results, results_of_point
from plant.level.tolerance import AT_LEAST, AT_MOST, Limits
from tests.makers import a_point, a_run, an_equipped_point, past_records

RULES = [
    Policy(),
    Policy(rule=Policy.Rule.GUARD, guard_share=Decimal("0.8")),
    Policy(rule=Policy.Rule.RISK, risk_percent=Decimal("2.5")),
]


def an_uncertainty(n: int, *, u: float) -> SimpleNamespace:
    """Of n errors, % of span, k = 2."""
    return SimpleNamespace(u=np.full(n, u), expanded=np.full(n, 2 * u), dof=np.full(n, np.inf))


ERRORS = np.linspace(-1.6, 1.6, 129)


@pytest.mark.parametrize("rule", RULES, ids=lambda policy: policy.rule)
@pytest.mark.parametrize(("down", "up"), [(1.0, 0.5), (0.5, 1.0), (0.2, 1.3), (1.49, 0.01)])
def test_verdicts_are_those_of_the_shifted_errors(rule, down, up):
    limits, uncertainty = Limits(down, up), an_uncertainty(len(ERRORS), u=0.06)
    equal = verdicts_by(rule, ERRORS, Limits.of(limits.half), uncertainty)
    moved = verdicts_by(rule, ERRORS + limits.centre, limits, uncertainty)
    assert set(equal) >= {"pass", "fail"}
    assert moved == equal


@pytest.mark.parametrize("rule", RULES, ids=lambda policy: policy.rule)
@pytest.mark.parametrize(("sides", "sign"), [(AT_MOST, 1), (AT_LEAST, -1)])
def test_a_one_sided_tolerance_never_fails_on_its_open_side(rule, sides, sign):
    """Within the range; on the side that is limited it judges as an equal tolerance does."""
    limits = Limits.of(0.5, sides=sides)
    far = np.linspace(0.0, 95.0, 200)
    uncertainty = an_uncertainty(len(far), u=0.06)
    assert set(verdicts_by(rule, -sign * far, limits, uncertainty)) == {"pass"}
    near = sign * np.linspace(0.0, 2.0, 200)
    equal = verdicts_by(rule, near, Limits.of(0.5), uncertainty)
    assert verdicts_by(rule, near, limits, uncertainty) == equal


@pytest.mark.parametrize(
    ("limits", "largest", "verdict"),
    [
        (Limits.of(1.0), -0.8, "pass"),
        (Limits.of(0.5, 1.0), 0.6, "fail"),
        (Limits.of(1.0, 0.5), -0.8, "fail"),
        (Limits.of(1.0, sides=AT_MOST), 0.6, "pass"),
        (Limits.of(1.0, sides=AT_LEAST), -0.8, "pass"),
        (Limits.of(0.5, sides=AT_LEAST), -0.8, "fail"),
    ],
)
def test_the_largest_error_is_the_one_furthest_beyond_its_own_limit(limits, largest, verdict):
    readings = a_run([0.0, -0.8, 0.1, 0.6, 0.2, 0.1, 0.0, 0.0, 0.0])
    result = judge(readings, Range(0.3, 8.3, "4-20mA", limits))
    assert result.figures.largest == pytest.approx(largest)
    assert result.verdict == verdict


@pytest.mark.django_db
def test_a_record_states_the_limits_it_was_judged_by_in_its_own_columns(site):
    point = a_point(
        tolerance=Decimal(5), tolerance_down=Decimal(10), tolerance_unit="mm", adjust_limit=2
    )
    assert (point.given_limits.half, point.given_limits.centre) == (7.5, -2.5)
    assert point.limits.millimetres == pytest.approx(7.5)
    assert point.error_limits.up == pytest.approx(100 * 0.005 / point.span_base)
    assert point.error_limits.down == pytest.approx(100 * 0.010 / point.span_base)


@pytest.mark.django_db
def test_global_risks_count_from_the_middle_and_leave_one_sided_results_out(site):
    point = an_equipped_point()
    facts = {"found_largest": 0.5, "expanded_percent": 0.1, "coverage_factor": 2.0}
    sides = [
        {},
        {"tolerance": 1, "tolerance_down": 2, "tolerance_percent": 1.5},
        {"tolerance_sides": AT_MOST},
    ]
    past_records(point, *(facts | side for side in sides))
    results = Results.of(results_of_point(point))
    assert results.errors == pytest.approx([1.0 / 1.5, 0.5])
    assert results.expanded == pytest.approx([0.1 / 1.5, 0.1])
