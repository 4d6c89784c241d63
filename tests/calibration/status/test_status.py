"""What is known of a point decides its status, on every road that changes it."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.utils import timezone

from calibration.drift.models import Trend
from calibration.status import acts
from calibration.status.refusals import NotAReason
from calibration.status.results import CompleteResult
from plant.points.models import MeasuringPoint
from plant.transmitters import acts as installing
from plant.transmitters.models import Installation
from tests.makers import (
    NOON,
    TODAY,
    a_person,
    a_point,
    a_procedure,
    a_reading,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db


def status(point: MeasuringPoint, on: dt.date = TODAY):
    point.refresh_from_db()
    return point.status(on)


def reasons(point: MeasuringPoint) -> list[str]:
    point.refresh_from_db()
    return [reason["kind"] for reason in point.reasons]


@pytest.fixture
def people(db):
    return {
        "by": a_person("rostervane", "technician"),
        "approved_by": a_person("sfenharrow", "approver"),
    }


@pytest.fixture
def planner(db):
    return a_person("amarrowby", "planner")


def test_a_point_without_a_transmitter_says_so():
    point = a_point()
    assert status(point).text == "no transmitter"
    assert reasons(point) == ["no transmitter"]


def test_a_transmitter_without_a_result_is_not_calibrated():
    point = an_equipped_point()
    assert status(point).text == "not calibrated"
    assert reasons(point) == ["never calibrated"]


def test_an_approved_calibration_leaves_the_calendar_to_speak(people):
    point = an_equipped_point()
    an_approved_record(point, **people)
    assert status(point).text == "in date, 365 d left"
    assert reasons(point) == []


def test_a_swap_ends_the_word_of_the_old_result_and_is_due_at_once(people, planner):
    point = an_equipped_point()
    an_approved_record(point, **people, done_on=TODAY - dt.timedelta(30))
    present = Installation.objects.get(point=point, removed_on=None)
    installing.swap(
        point,
        transmitter=a_transmitter("NEW-1"),
        seen=present.pk,
        goes="spare",
        on=TODAY,
        today=TODAY,
        by=planner,
    )
    assert status(point).text == "not calibrated"
    assert reasons(point) == ["installed"]
    assert point.due_on == TODAY
    assert not CompleteResult.objects.filter(point=point).exists()


def test_plain_sql_cannot_make_a_point_green():
    point = an_equipped_point()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE plant_measuringpoint SET condition = 3, reasons = '[]'")
    assert status(point).text == "not calibrated"


def test_a_dead_output_is_a_failed_record_and_leaves_the_point_in_doubt(people):
    point = an_equipped_point()
    an_approved_record(point, **people, done_on=TODAY - dt.timedelta(30))
    record = an_approved_record(
        point,
        **people,
        readings=[a_reading("4.3", "3.5", stage="as it stands")],
        no_as_found_reason="the float is dead",
    )
    assert (record.found_verdict, record.left_verdict, record.shows_failure) == (
        "fail",
        "fail",
        True,
    )
    assert record.finding.largest_percent is None
    assert status(point).text == "in doubt"
    assert reasons(point) == ["failed"]


def test_a_withdrawn_certificate_puts_its_results_in_doubt_until_an_approver_says_why_not(people):
    point = an_equipped_point()
    record = an_approved_record(point, **people)
    use = record.standards_used.get()
    use.certificate.withdrawn_on, use.certificate.withdrawn_why = TODAY, "dropped"
    use.certificate.save()
    assert reasons(point) == ["standard"]
    acts.close_reason(
        point,
        kind="standard",
        of=record.pk,
        why="compared with another meter the same day",
        by=people["approved_by"],
        at=NOON,
    )
    assert status(point).kind == "ok"


def test_nobody_closes_a_reason_that_does_not_stand(people):
    point = an_equipped_point()
    with pytest.raises(NotAReason):
        acts.close_reason(
            point, kind="failed", of=1, why="so it is", by=people["approved_by"], at=NOON
        )


def test_another_range_ends_the_word_of_results_at_the_old_one(people, planner):
    point = an_equipped_point()
    an_approved_record(point, **people)
    MeasuringPoint.objects.filter(pk=point.pk).update(upper="7.5")
    assert status(point).text == "not calibrated"
    assert reasons(point) == ["range"]
    # Back at the old range it still waits for a calibration: the device was changed twice.
    MeasuringPoint.objects.filter(pk=point.pk).update(upper="8.3")
    assert status(point).text == "not calibrated"


def test_the_same_range_in_another_unit_is_no_change(people):
    point = an_equipped_point()
    an_approved_record(point, **people)
    MeasuringPoint.objects.filter(pk=point.pk).update(lower=300, upper=8300, unit="mm")
    assert status(point).kind == "ok"


def test_an_output_part_and_a_tank_part_complete_each_other(people):
    point = an_equipped_point()
    output = a_procedure("out", way="simulated output", covers_primary=False)
    tank = a_procedure("tank", covers_output=False)
    an_approved_record(
        point,
        **people,
        done_on=TODAY - dt.timedelta(10),
        procedure_version=output,
        way="simulated output",
    )
    assert reasons(point) == ["part"]
    due = point.due_on
    an_approved_record(point, **people, procedure_version=tank)
    assert reasons(point) == []
    assert point.due_on == dt.date(2027, 10, 23) != due


def test_a_check_moves_no_due_date_but_its_fail_is_known(people):
    point = an_equipped_point()
    an_approved_record(point, **people, done_on=TODAY - dt.timedelta(100))
    point.refresh_from_db()
    due = point.due_on
    an_approved_record(
        point, **people, procedure_version=a_procedure("look", is_check=True), found=[3.0] * 9
    )
    assert reasons(point) == ["failed"]
    assert point.due_on == due


def test_a_day_of_doubt_that_has_come_is_seen_by_the_next_look(people):
    point = an_equipped_point()
    an_approved_record(point, **people)
    today = point.site.day_of(timezone.now())
    trend = Trend.objects.get(point=point)
    trend.doubt_on = today + dt.timedelta(2)
    trend.save()
    assert reasons(point) == []
    assert acts.look_again(at=timezone.now()) == 0
    assert acts.look_again(at=timezone.now() + dt.timedelta(3)) == 1
    assert reasons(point) == ["chance"]
    assert acts.look_again(at=timezone.now() + dt.timedelta(3)) == 0  # looked at once
