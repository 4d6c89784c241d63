"""Of which transmitter a record is: the one that was calibrated, also where it was changed or
removed on that very day.
"""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from calibration.records import acts as records
from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint
from plant.transmitters import acts as transmitters
from tests.calibration.filling import typed
from tests.folded import folded
from tests.makers import (
    NOON,
    TODAY,
    a_job,
    a_procedure,
    a_sent_record,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def point():
    return an_equipped_point()


@pytest.fixture
def old(point):
    return point.installations.get().transmitter


def swapped(point, by, *, on: dt.date = TODAY, why: str = ""):
    """A spare in the place of what was there."""
    return transmitters.swap(
        point, transmitter=a_transmitter("SPARE-1"), seen=point.installations.get().pk,
        goes="in repair", on=on, today=TODAY, by=by, why=why,
    ).transmitter  # fmt: skip


@pytest.fixture
def send(sign_in, technician, point):
    a_procedure()
    job = a_job(point, by=technician)
    address = reverse("calibration:calibrate", args=[job.pk])
    client = sign_in(technician)
    return lambda **form: client.post(address, typed(**form)) if form else client.get(address)


def test_a_dead_one_that_was_changed_the_same_day_keeps_its_record(send, point, old, planner):
    new = swapped(point, planner)
    page = folded(send())
    assert f"{new.serial}, there now" in page
    assert f"{old.serial}, removed 2 Nov 2026" in page
    answer = send(transmitter=old.pk)
    record = Calibration.objects.get()
    assert (answer.status_code, record.transmitter, record.serial) == (302, old, old.serial)
    status = MeasuringPoint.objects.get(pk=point.pk).status(TODAY)
    assert status.text == "not calibrated"


def test_without_a_choice_it_is_the_one_that_is_there(send, point, planner):
    new = swapped(point, planner)
    send(transmitter="")
    assert Calibration.objects.get().transmitter == new


def test_nothing_is_asked_where_nothing_was_changed(send, old):
    assert 'name="transmitter"' not in folded(send())
    send(note="x")
    assert Calibration.objects.get().transmitter == old


def test_one_that_was_not_there_that_day_is_refused(send, point, old, planner):
    swapped(point, planner, on=TODAY - dt.timedelta(3), why="found late")
    answer = send(transmitter=old.pk)
    assert answer.status_code == 422
    assert f"{old.serial} was not at LT-101A on 2 Nov 2026." in folded(answer)
    assert not Calibration.objects.exists()


def test_one_removed_that_day_with_nothing_in_its_place_is_the_one(send, point, old, planner):
    transmitters.remove(
        point, seen=point.installations.get().pk, goes="scrapped", on=TODAY, today=TODAY, by=planner
    )
    send(note="x")
    assert Calibration.objects.get().transmitter == old


def test_an_amendment_stays_with_its_transmitter(point, old, technician, approver, planner):
    record = an_approved_record(point, by=technician, approved_by=approver)
    swapped(point, planner)
    amended = records.amend(
        record, a_sent_record(), reason="typing error", submission=uuid.uuid4(), by=technician,
        at=NOON,
    ).record  # fmt: skip
    assert amended.transmitter == old


def test_the_choice_is_part_of_what_is_signed(point, old, technician):
    job = a_job(point, by=technician)
    first = records.submit(
        job, a_sent_record(transmitter=old), submission=uuid.uuid4(), by=technician, at=NOON
    )
    plain = records.content_hash(a_sent_record(), on=f"job {job.pk}", by=technician)
    assert first.content_sha256 != plain
