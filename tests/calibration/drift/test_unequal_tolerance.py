"""A tolerance from −d to +u forecasts as one of ± half its width does, once its centre is taken from
every error; and a one-sided tolerance is never met on its open side.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest

from calibration.drift.charts import AS_IT_STOOD, TAKEN_OUT, chart_of
from calibration.drift.models import Trend
from calibration.drift.reads import trend_of
from calibration.drift.sentences import summary
from calibration.drift.trends import refit
from calibration.families.acts import ensure_families
from calibration.families.reads import FOUND_IN, LEFT_IN
from calibration.fleet.computation import renew
from calibration.intervals.models import Proposal
from calibration.policies.models import Policy
from calibration.records.models import Calibration
from tests.makers import NOON, an_equipped_point, past_records

pytestmark = pytest.mark.django_db

DUE = dt.date(2027, 6, 1)
FOUND = [0.02, 0.1, 0.16, 0.27, 0.33, 0.42]
SHAPE = [0.0, 0.02, 0.05, 0.02, 0.0, 0.01, 0.03, 0.04, 0.01]
EQUAL = {"tolerance": Decimal("0.75"), "adjust_limit": Decimal("0.25")}
# down, up: the same width, so that the centre is (up − down) / 2.
UNEQUAL = [("1.0", "0.5"), ("0.5", "1.0"), ("0.3", "1.2"), ("1.4", "0.1")]


def a_point_with(tag: str, errors: list[float], *, u: float | None = 0.05, **tolerance):
    """Six results, the errors the same at both ends, a point in between somewhat higher."""
    limit = min(float(tolerance["tolerance"]), float(tolerance.get("tolerance_down") or 9)) / 2
    point = an_equipped_point(tag, due_on=DUE, **{"adjust_limit": limit} | tolerance)
    judged_by = {"tolerance_percent": point.limits.percent} | {
        name: getattr(point, name) for name in ("tolerance", "tolerance_down", "tolerance_sides")
    }
    past_records(
        point,
        *(
            {f"{stage}_at_{end}": error for stage in ("found", "left") for end in ("zero", "span")}
            | judged_by
            | {"found_largest": error, "shape": SHAPE, "u_zero": u, "u_span": u}
            for error in errors
        ),
    )
    return point


@pytest.mark.parametrize(("down", "up"), UNEQUAL)
def test_chances_crossings_and_bands_are_those_of_the_shifted_errors(site, down, up):
    centre = (float(up) - float(down)) / 2
    plain = a_point_with("LT-201", FOUND, **EQUAL)
    moved = a_point_with(
        "LT-202",
        [error + centre for error in FOUND],
        tolerance=Decimal(up),
        tolerance_down=Decimal(down),
    )
    one, other = trend_of(plain), trend_of(moved)
    days = [DUE + dt.timedelta(365 * n) for n in range(6)]
    assert one.chance(DUE) is not None
    assert [other.chance(day) for day in days] == pytest.approx([one.chance(day) for day in days])
    assert other.days_below([0.95, 0.8, 0.5]) == one.days_below([0.95, 0.8, 0.5])
    assert other.first_crossing == one.first_crossing
    for end in ("zero", "span"):
        a, b = getattr(one, end), getattr(other, end)
        assert b.rate == pytest.approx(a.rate)
        for plain_visit, visit in zip(a.visits, b.visits, strict=True):
            assert visit.found == pytest.approx(plain_visit.found + centre)
            assert visit.value == pytest.approx(plain_visit.value + centre)
            assert visit.out == plain_visit.out
        for part in ("centre", "lower", "upper"):
            bands = (getattr(drift.ahead(days), part) for drift in (a, b))
            assert np.subtract(*reversed([*bands])) == pytest.approx(centre)
        assert b.in_tolerance(DUE) == pytest.approx(a.in_tolerance(DUE))
        assert b.crossings().line == pytest.approx(a.crossings().line)


@pytest.mark.parametrize(("down", "up"), UNEQUAL)
def test_stored_trends_are_those_of_the_shifted_errors(site, down, up):
    centre = (float(up) - float(down)) / 2
    plain = a_point_with("LT-201", FOUND, **EQUAL)
    moved = a_point_with(
        "LT-202", [e + centre for e in FOUND], tolerance=Decimal(up), tolerance_down=Decimal(down)
    )
    refit([plain.pk, moved.pk])
    one, other = (Trend.objects.get(point=point) for point in (plain, moved))
    assert other.in_tolerance == pytest.approx(one.in_tolerance)
    facts = ("crossing_on", "crossing_of", "doubt_on", "results")
    assert [getattr(other, f) for f in facts] == [getattr(one, f) for f in facts]


@pytest.mark.parametrize("method", ["drift", "staircase"])
def test_intervals_proposed_are_those_of_the_shifted_errors(site, method):
    points = [
        a_point_with("LT-201", FOUND, **EQUAL),
        a_point_with(
            "LT-202",
            [error - 0.25 for error in FOUND],
            tolerance=Decimal("0.5"),
            tolerance_down=Decimal("1.0"),
        ),
    ]
    Policy.objects.create(site=site, duty=points[0].duty, method=method, lengthen=2)
    ensure_families()
    renew([point.pk for point in points], at=NOON)
    one, other = (Proposal.objects.open().get(point=point) for point in points)
    assert one.months == other.months != 12
    assert (one.in_tolerance or 0) == pytest.approx(other.in_tolerance or 0)


# ---- one-sided ----
@pytest.mark.parametrize(("sides", "sign"), [("at most", 1), ("at least", -1)])
def test_a_one_sided_tolerance_is_met_on_its_own_side_only(site, sides, sign):
    """Towards the limit it crosses as an equal tolerance would; away from it never."""
    wide = {"tolerance": Decimal("0.75")}
    towards = [sign * error for error in FOUND]
    away = [-5 * error for error in towards]
    equal = trend_of(a_point_with("LT-201", towards, **wide))
    one = trend_of(a_point_with("LT-202", towards, tolerance_sides=sides, **wide))
    far = trend_of(a_point_with("LT-203", away, tolerance_sides=sides, **wide))
    assert one.first_crossing == equal.first_crossing
    assert one.zero.rate == pytest.approx(equal.zero.rate)
    assert one.chance(DUE) == pytest.approx(equal.chance(DUE), abs=1e-3)
    assert far.first_crossing is None
    assert far.chance(DUE) == pytest.approx(1.0)
    assert not any(visit.out for visit in far.zero.visits)
    assert far.days_below([0.95]) == [None]


def test_an_uncertainty_that_is_not_stated_is_a_share_of_the_one_limit(site):
    limit = {"tolerance": Decimal("0.75")}
    equal, one = (
        trend_of(a_point_with(tag, FOUND, u=None, **limit, **sides)).zero
        for tag, sides in (("LT-201", {}), ("LT-202", {"tolerance_sides": "at most"}))
    )
    assert one.u_next == pytest.approx(equal.u_next)
    assert one.rate == pytest.approx(equal.rate)


def test_a_one_sided_tolerance_is_drawn_to_the_edge_with_one_edge_line(site):
    point = a_point_with("LT-202", FOUND, tolerance=Decimal("0.75"), tolerance_sides="at most")
    drift = trend_of(point).zero
    for view in (AS_IT_STOOD, TAKEN_OUT):
        spec = chart_of(drift, drift.visits, view=view, today=DUE, due=DUE)
        drawn = [row for layer in spec["layer"] for row in layer["data"]["values"]]
        assert [row["at"] for row in drawn if set(row) <= {"at", "from", "to"} and row["at"]] == [
            0.75
        ]
        [band] = [
            row for row in drawn if {"low", "high"} <= set(row) <= {"low", "high", "from", "to"}
        ]
        assert (band["low"], band["high"]) == (-100.0, 0.75)
    assert "tolerance at most +0.75" in summary(drift, drift.visits, DUE, taken_out=False)


# ---- families ----
@pytest.mark.parametrize(
    ("limits", "error", "is_in"),
    [
        ({"tolerance": 1}, -1.0, True),
        ({"tolerance": 1}, 1.1, False),
        ({"tolerance": Decimal("0.5"), "tolerance_down": 1}, -0.9, True),
        ({"tolerance": Decimal("0.5"), "tolerance_down": 1}, 0.6, False),
        ({"tolerance": Decimal("0.5"), "tolerance_down": 1}, 0.5, True),
        ({"tolerance": 1, "tolerance_sides": "at most"}, -40.0, True),
        ({"tolerance": 1, "tolerance_sides": "at most"}, 1.1, False),
        ({"tolerance": 1, "tolerance_sides": "at least"}, 40.0, True),
        ({"tolerance": 1, "tolerance_sides": "at least"}, -1.1, False),
    ],
)
def test_a_family_counts_by_the_limits_that_each_record_was_judged_by(site, limits, error, is_in):
    point = a_point_with("LT-201", [error], **limits)
    held = Calibration.objects.raw(
        f"SELECT r.id, {FOUND_IN} AS found_in, {LEFT_IN} AS left_in"  # noqa: S608 - our own text
        " FROM calibration_calibration r WHERE r.point_id = %s",
        [point.pk],
    )[0]
    assert (held.found_in, held.left_in) == (is_in, is_in)
    assert held.error_limits.holds(error) == is_in
