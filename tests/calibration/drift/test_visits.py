"""The results of a point as they stood: also those that the trend leaves out."""

from __future__ import annotations

import pytest

from calibration.drift.models import JumpQuestion
from calibration.drift.reads import trend_of
from calibration.drift.visits import as_they_stood
from tests.makers import NOON, a_person, an_equipped_point, past_records

pytestmark = pytest.mark.django_db
FOUND = [0.1, 0.9, 0.3, 0.4]


def a_question(record, **facts) -> None:
    JumpQuestion.objects.create(
        site=record.site, point=record.point, record=record, end="zero", size_percent=0.6,
        chance=0.001, raised_at=NOON, **facts,
    )  # fmt: skip


def shown(point):
    trend = trend_of(point)
    counted, limits = trend.zero.visits, trend.zero.limits
    return as_they_stood(point.pk, trend.transmitter_id, "zero", counted=counted, limits=limits)


@pytest.fixture
def records(site):
    point = an_equipped_point()
    return past_records(point, *[{"found_at_zero": v, "left_at_zero": v} for v in FOUND])


def test_a_bad_reading_stays_in_sight_though_the_trend_leaves_it_out(records):
    a_question(records[1], kind="bad reading")
    visits = shown(records[0].point)
    assert [visit.found for visit in visits] == FOUND
    assert [visit.is_counted for visit in visits] == [True, False, True, True]


def test_what_was_found_before_a_repair_stays_in_sight(records):
    a_question(
        records[2], kind="step", cause="repair", answered_at=NOON, answered_by=a_person("quillane")
    )
    visits = shown(records[0].point)
    assert [visit.found for visit in visits] == FOUND
    assert [visit.is_counted for visit in visits] == [False, False, True, True]
    assert visits[2].fresh


def test_a_result_out_of_tolerance_and_one_failed_elsewhere_are_told_apart(site):
    point = an_equipped_point()
    past_records(
        point,
        {"found_at_zero": 1.2, "found_verdict": "fail"},
        {"found_at_zero": 0.2, "found_verdict": "fail"},
        {"found_at_zero": None, "left_at_zero": 0.1},
        {"found_at_zero": None, "left_at_zero": None},
    )
    visits = shown(point)
    assert [(visit.out, visit.failed) for visit in visits] == [
        (True, True),
        (False, True),
        (False, False),
    ]
    assert visits[2].found is None


def test_what_was_not_read_again_is_left_as_it_was_found(site):
    point = an_equipped_point()
    past_records(point, {"found_at_zero": 0.3, "left_at_zero": None})
    assert [(visit.found, visit.left) for visit in shown(point)] == [(0.3, 0.3)]
