"""The interval that each method of a policy chooses, to the month."""

from __future__ import annotations

import datetime as dt
from math import log

import numpy as np
import pytest

from calibration.families.acts import ensure_families
from calibration.fleet.computation import renew
from calibration.intervals import acts as intervals
from calibration.intervals.models import Proposal
from calibration.policies.models import Policy
from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation
from tests.makers import NOON, an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db

LATER = NOON + dt.timedelta(days=1)


def a_result(point: MeasuringPoint, year: int, error: float, **more) -> Calibration:
    """Of 1 November of the year, the error the same at both ends and nothing adjusted."""
    facts = {
        "found_at_zero": error,
        "left_at_zero": error,
        "found_at_span": error,
        "left_at_span": error,
        "found_largest": abs(error),
        "found_verdict": "pass" if abs(error) <= 1 else "fail",
        **more,
    }
    device = Installation.objects.get(point=point).transmitter
    return an_unsaved_record(point, dt.date(year, 11, 1), device, **facts)


def a_recorded_point(tag: str, errors: list[float], *, now: int = 12, **more) -> MeasuringPoint:
    """One approved record a year until 2026, with these errors; calibrated every ``now`` months."""
    point = an_equipped_point(tag, interval_months=now)
    first = 2027 - len(errors)
    Calibration.objects.bulk_create(
        a_result(point, first + n, error, **more) for n, error in enumerate(errors)
    )
    return point


def a_family(shift: float = 0.0, *, last: tuple[float, ...] = (), **more) -> list[MeasuringPoint]:
    """Nine members of six results each, about ``shift``; ``last``: how wrong the last result of the
    first members was.
    """
    rng = np.random.default_rng(1)
    errors = shift + rng.normal(0, 0.02, (9, 6))
    errors[: len(last), -1] = last
    return [a_recorded_point(f"LT-{100 + n}", row.tolist(), **more) for n, row in enumerate(errors)]


def offered() -> dict[str, Proposal]:
    """What waits after a pass over all points, by tag."""
    ensure_families()
    renew(list(MeasuringPoint.objects.order_by("pk").values_list("pk", flat=True)), at=NOON)
    waiting = Proposal.objects.open().select_related("point")
    return {proposal.point.tag: proposal for proposal in waiting}


def months(points: list[MeasuringPoint]) -> set[int | None]:
    """The months offered to these points; None for a point to which nothing is."""
    found = offered()
    return {found[p.tag].months if p.tag in found else None for p in points}


# ---- by drift ----
@pytest.mark.parametrize(
    ("now", "facts", "expected"),
    [
        (12, {"lengthen": 2}, 24),
        (12, {"lengthen": "1.5"}, 18),
        (12, {"lengthen": 2, "longest_months": 21}, 21),
        (10, {"lengthen": "1.1"}, 11),
        (20, {"lengthen": "1.1"}, 22),
    ],
)
def test_a_steady_family_is_lengthened_to_what_one_change_may(site, now, facts, expected):
    points = a_family(now=now)
    Policy.objects.create(site=site, duty=points[0].duty, **facts)
    assert months(points) == {expected}


@pytest.mark.parametrize(("now", "lengthen"), [(12, "1.1"), (12, "1.0")])
def test_a_change_of_less_than_a_tenth_is_not_worth_a_decision(site, now, lengthen):
    points = a_family(now=now)
    Policy.objects.create(site=site, duty=points[0].duty, lengthen=lengthen)
    assert months(points) == {None}


def test_a_family_that_drifts_fast_is_shortened_to_the_shortest_allowed(site):
    """3 % of span a year, taken away at each visit; the tolerance is 1 %."""
    points = a_family(3.0, left_at_zero=0.0, left_at_span=0.0, adjusted=True)
    Policy.objects.create(site=site, duty=points[0].duty, shortest_months=3)
    assert months(points) == {3}
    proposal = Proposal.objects.first()
    assert proposal.in_tolerance > 0.8 > 0.2 > proposal.in_tolerance_now
    assert (proposal.method, proposal.months_now) == ("drift", 12)


def test_the_end_that_leaves_the_tolerance_sooner_decides(site):
    zeros = {f"{when}_at_zero": 0.0 for when in ("found", "left")}
    one = a_recorded_point("LT-SPAN", [0.0, 0.2, 0.4, 0.6], now=24, **zeros)
    spans = {f"{when}_at_span": 0.0 for when in ("found", "left")}
    other = a_recorded_point("LT-ZERO", [0.0, 0.2, 0.4, 0.6], now=24, **spans)
    found = offered()
    assert found[one.tag].reasons[0] == {"says": "end", "end": "span"}
    assert found[other.tag].reasons[0] == {"says": "end", "end": "zero"}
    # At the present interval too the worse end speaks for the point: the other drifts nowhere.
    assert found[one.tag].in_tolerance_now < 0.9


# ---- by staircase ----
def by_stairs(point: MeasuringPoint, **facts) -> None:
    Policy.objects.create(site=point.site, point=point, method="staircase", **facts)


@pytest.mark.parametrize(
    ("errors", "facts", "expected", "reason"),
    [
        ([0.1, 0.2], {}, 13, ("staircase in", 10.0)),
        ([0.1, 1.2], {}, 5, ("staircase out", 55.0)),
        ([1.2, 0.1], {}, 13, ("staircase in", 10.0)),
        ([0.1, 1.2], {"shortest_months": 6}, 6, ("staircase out", 55.0)),
        (
            [0.1, 0.2],
            {"stair_longer_percent": 50, "longest_months": 16},
            16,
            ("staircase in", 50.0),
        ),
        ([0.1, 0.1], {"stair_longer_percent": "12.5"}, 14, ("staircase in", 12.5)),
    ],
)
def test_the_last_result_lengthens_or_shortens_by_its_stair(site, errors, facts, expected, reason):
    point = a_recorded_point("LT-1", errors)
    by_stairs(point, **facts)
    proposal = offered()["LT-1"]
    assert (proposal.months, proposal.method) == (expected, "staircase")
    says, percent = reason
    assert proposal.reasons == [{"says": says, "percent": pytest.approx(percent)}]
    assert proposal.in_tolerance is proposal.in_tolerance_now is None


def test_a_point_never_calibrated_has_no_stair(site):
    by_stairs(an_equipped_point("LT-1"))
    assert offered() == {}


def test_one_result_is_one_stair(planner):
    point = a_recorded_point("LT-1", [0.1, 0.2])
    other = a_recorded_point("LT-2", [0.1, 0.2])
    by_stairs(point)
    by_stairs(other)
    MeasuringPoint.objects.update(due_on=LATER.date() + dt.timedelta(days=100))
    intervals.accept(offered()["LT-1"], by=planner, at=LATER)
    assert set(offered()) == {"LT-2"}
    next_day = LATER + dt.timedelta(days=1)
    a_result(point, 2027, 0.1, approved_at=next_day).save()
    proposal = offered()["LT-1"]
    assert (proposal.months_now, proposal.months) == (13, 14)


# ---- by the family's reliability ----
def by_reliability(points: list[MeasuringPoint], **facts) -> None:
    site, duty = points[0].site, points[0].duty
    Policy.objects.create(site=site, duty=duty, method="reliability", **facts)


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"target_percent": 50}, 24),
        ({"target_percent": 50, "lengthen": "1.5"}, 18),
        ({"target_percent": 50, "longest_months": 20}, 20),
        ({"target_percent": 99}, 3),
    ],
)
def test_a_family_never_out_is_lengthened_as_far_as_its_limit_shows(site, facts, expected):
    points = a_family()
    by_reliability(points, **facts)
    assert months(points) == {expected}
    reason = Proposal.objects.first().reasons[0]
    assert (reason["by"], reason["curve"]) == ("limit", "")
    assert (reason["results"], reason["out"], reason["instruments"]) == (45, 0, 9)
    assert Proposal.objects.first().in_tolerance is None


def test_a_limit_between_the_bounds_is_kept_to_the_whole_month_before(site):
    points = a_family()
    by_reliability(points, target_percent=90)
    assert months(points) == {int(Proposal.objects.first().reasons[0]["months"])}
    assert Proposal.objects.first().months not in (3, 12, 24)


def test_a_family_with_results_out_goes_by_its_curve(site):
    points = a_family(last=(1.3, 1.3, 1.3, 1.3))
    by_reliability(points, target_percent=80)
    proposal = offered()[points[0].tag]
    reason = proposal.reasons[0]
    assert (reason["by"], reason["out"]) == ("estimate", 4)
    assert reason["curve"] == "exponential"
    # In tolerance at the end of each interval, by the curve: less after the longer one.
    assert 1 > proposal.in_tolerance_now > proposal.in_tolerance >= 0.8
    assert proposal.months == min(24, int(reason["months"]))
    # Of a constant rate: log of the share in tolerance grows as the time does.
    logs = log(proposal.in_tolerance) / log(proposal.in_tolerance_now)
    assert logs == pytest.approx(proposal.months / proposal.months_now)
