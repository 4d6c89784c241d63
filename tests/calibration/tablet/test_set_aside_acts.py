"""Settling what was set aside: as a record after all, or kept without one."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import pytest

from calibration.approval import acts as approval_acts
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.records import acts as records
from calibration.records.models import Calibration
from calibration.records.refusals import DayInFuture
from calibration.tablet.models import FieldWork
from calibration.tablet.refusals import (
    AlreadySettled,
    NoReason,
    OtherTransmitter,
    OwnWork,
    RecordWaiting,
    Unreadable,
)
from calibration.tablet.set_aside_acts import settle
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, Refused
from plant.transmitters.models import Installation
from tests.calibration.tablet.field_acts import receive, sign
from tests.calibration.tablet.field_works import a_content, a_pack_job
from tests.makers import (
    a_sent_record,
    a_transmitter,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def content(job, technician, now):
    content = a_content(a_pack_job(job, by=technician, at=now), at=now, found=[0.4] * 9)
    sign(content, by=technician, at=now)
    return content


@pytest.fixture
def aside(job, content, technician, now) -> FieldWork:
    """The range was edited while the tablet was away."""
    job.point.upper = Decimal("8.4")
    job.point.save()
    return receive(content, by=technician, at=now)


def test_stored_after_all_it_is_judged_by_today_s_register(aside, technician, planner, now):
    done = settle(aside, as_record=True, why="range was wrong before", by=planner, at=now)
    record = Calibration.objects.get()
    assert (done.state, done.record, done.settled_by) == ("stored", record, planner)
    assert (record.upper, record.performed_by, record.source) == (
        Decimal("8.4"),
        technician,
        "tablet",
    )
    assert (record.state, record.job.state) == ("submitted", "submitted")
    assert record.steps_taken.count() == record.procedure_version.steps.count()
    entry = LedgerEntry.objects.get(act="settle work")
    assert (entry.person, entry.why) == (planner, "range was wrong before")
    assert entry.details["record"] == record.pk
    assert not LedgerEntry.objects.filter(act="submit record").exists()


def test_kept_without_a_record_nothing_counts_from_it(aside, job, planner, now):
    done = settle(aside, as_record=False, why="done again since", by=planner, at=now)
    assert (done.state, done.record) == ("settled", None)
    assert not Calibration.objects.exists()
    assert Job.objects.get(pk=job.pk).state == "in hand"
    assert LedgerEntry.objects.get(act="settle work").details["kept"] == "without a record"


def test_sending_again_after_settling_gives_what_became_of_it(
    aside, content, technician, planner, now
):
    settle(aside, as_record=True, why="fine", by=planner, at=now)
    assert receive(content, by=technician, at=now).record == Calibration.objects.get()


@pytest.mark.parametrize("why", ["", "  "])
def test_a_reason_is_needed(aside, planner, now, why):
    with pytest.raises(NoReason) as refusal:
        settle(aside, as_record=False, why=why, by=planner, at=now)
    assert refusal.value.field == "why"


def test_nobody_settles_their_own_work(aside, technician, site, now):
    technician.appointments.create(site=site, role="planner", starts_on=dt.date(2020, 1, 1))
    del technician._today_as
    with pytest.raises(OwnWork):
        settle(aside, as_record=True, why="mine", by=technician, at=now)


def test_only_planner_and_approver_settle(aside, second_technician, auditor, outsider, now):
    for person in (second_technician, auditor, outsider):
        with pytest.raises(NotAllowed):
            settle(aside, as_record=False, why="no", by=person, at=now)


def test_it_is_settled_once(aside, planner, approver, now):
    settle(aside, as_record=False, why="done again", by=planner, at=now)
    with pytest.raises(AlreadySettled) as refusal:
        settle(aside, as_record=True, why="no", by=approver, at=now)
    assert refusal.value.work == aside


@pytest.mark.django_db(transaction=True)
def test_two_who_settle_at_once_settle_it_once(aside, planner, approver, now):
    got = at_once(
        lambda: settle(aside, as_record=True, why="yes", by=planner, at=now),
        lambda: settle(aside, as_record=False, why="no", by=approver, at=now),
    )
    assert sum(isinstance(one, Refused) for one in got) == 1
    assert LedgerEntry.objects.filter(act="settle work").count() == 1


def changed_on(day, job):
    Installation.objects.filter(point=job.point).update(removed_on=day)
    Installation.objects.create(
        site=job.site, point=job.point, transmitter=a_transmitter("NEW-1"), installed_on=day
    )


def test_the_wrong_transmitter_makes_no_record(job, content, technician, planner, now):
    today = now.date()
    changed_on(today - dt.timedelta(1), job)
    work = receive(content, by=technician, at=now)
    with pytest.raises(OtherTransmitter) as refusal:
        settle(work, as_record=True, why="all the same", by=planner, at=now)
    assert (refusal.value.installed.serial, refusal.value.day) == ("NEW-1", today)
    assert FieldWork.objects.get().state == "set aside"


def test_one_that_was_changed_that_day_may_get_its_record(job, content, technician, planner, now):
    """Read dead in the morning, changed at noon, sent in the evening."""
    old = job.point.installations.get().transmitter
    changed_on(now.date(), job)
    work = receive(content, by=technician, at=now)
    assert "Another transmitter is installed there by now" in str(work.troubles)
    done = settle(work, as_record=True, why="it was changed after", by=planner, at=now)
    assert (done.record.transmitter, done.record.serial) == (old, old.serial)


def test_beside_a_record_that_waits_it_waits_too(
    job, content, technician, second_technician, planner, approver, now
):
    jobs.hand_over(job, to=second_technician, by=planner)
    sent = a_sent_record(done_on=now.date())
    first = records.submit(job, sent, submission=uuid.uuid4(), by=second_technician, at=now).record
    work = receive(content, by=technician, at=now)
    with pytest.raises(RecordWaiting) as refusal:
        settle(work, as_record=True, why="both were done", by=planner, at=now)
    assert refusal.value.tag == job.point.tag
    approval_acts.approve(first, content_sha256=first.content_sha256, by=approver, at=now)
    done = settle(work, as_record=True, why="both were done", by=planner, at=now)
    assert done.record.job_id != job.pk
    assert (done.record.job.technician, done.record.job.state) == (technician, "submitted")
    assert Calibration.objects.count() == 2


def test_a_person_says_the_day_that_the_clock_could_not(job, technician, planner, now):
    packed = a_pack_job(job, by=technician, at=now) | {
        "made_at": (now - dt.timedelta(days=3)).isoformat()
    }
    ahead = dt.timedelta(days=2)
    content = a_content(packed, at=now + dt.timedelta(days=1))
    sign(content, by=technician, at=now, ahead=ahead)
    work = receive(content, by=technician, at=now)
    yesterday = now.date() - dt.timedelta(days=1)
    with pytest.raises(DayInFuture) as refusal:
        settle(work, as_record=True, done_on=now.date() + ahead, why="asked", by=planner, at=now)
    assert refusal.value.day == now.date() + ahead
    done = settle(work, as_record=True, done_on=yesterday, why="asked", by=planner, at=now)
    assert done.record.done_on == yesterday


def test_what_cannot_be_read_can_only_be_kept(job, technician, planner, now):
    content = {"format": 9, "submission": str(uuid.uuid4()), "job": job.pk}
    sign(content, by=technician, at=now)
    work = receive(content, by=technician, at=now)
    with pytest.raises(Unreadable):
        settle(work, as_record=True, why="try", by=planner, at=now)
    assert settle(work, as_record=False, why="called", by=planner, at=now).state == "settled"
