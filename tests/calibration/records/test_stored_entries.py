"""What a record keeps of what was typed, and when an amendment may be sent."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import pytest

from calibration.approval import acts as approval
from calibration.jobs import acts as jobs
from calibration.records import acts as records
from calibration.records.entry import AdjustmentEntry
from calibration.records.models import Calibration
from calibration.records.refusals import JobClosed, NoReason, NotApproved, StoredWithOtherEntries
from plant.ledger.models import LedgerEntry
from tests.makers import (
    NOON,
    TODAY,
    a_job,
    a_procedure,
    a_record,
    a_sent_record,
    an_approved_record,
    an_equipped_point,
)

pytestmark = pytest.mark.django_db


def amend(record: Calibration, *, by, reason: str = "slip", submission=None, **sent):
    return records.amend(
        record,
        a_sent_record(**sent),
        reason=reason,
        submission=submission or uuid.uuid4(),
        by=by,
        at=NOON,
    )


# ---- what a record keeps ----
def test_a_record_says_who_did_what_when_and_how(technician):
    record = a_record(
        by=technician, ambient_c=Decimal("21.5"), product_c=Decimal(38), note=" windy "
    )
    record.refresh_from_db()
    assert (record.performed_by, record.performed_by_name) == (technician, "T. Quillane")
    assert (record.submitted_at, record.done_on, record.source) == (NOON, TODAY, "typed")
    assert (record.way, record.procedure_version) == ("wetted level by dip", a_procedure())
    assert (record.ambient_c, record.product_c) == (Decimal("21.5"), 38)
    assert (record.note, record.adjusted, record.shows_failure) == ("windy", False, False)
    assert (record.amends, record.amend_reason) == (None, "")
    assert record.transmitter == record.point.installations.get().transmitter


def test_a_record_keeps_the_register_as_it_was(technician):
    record = a_record(by=technician)
    record.refresh_from_db()
    assert (record.tag, record.tank_name, record.unit) == ("LT-101A", "T-101", "m")
    assert (record.lower, record.upper, record.signal) == (Decimal("0.3"), Decimal("8.3"), "4-20mA")
    assert (record.tolerance, record.tolerance_percent) == (1, 1.0)


def test_adjustments_are_numbered_as_they_were_made(technician):
    record = a_record(
        by=technician,
        found=[0.7] * 9,
        left=[0.1] * 9,
        adjustments=[
            AdjustmentEntry("zero", before=Decimal("4.11"), after=Decimal(4), note="twice"),
            AdjustmentEntry("span"),
        ],
    )
    zero, span = record.adjustments.order_by("number")
    assert (zero.number, zero.kind, zero.note) == (1, "zero", "twice")
    assert (zero.before, zero.after) == (Decimal("4.11"), 4)
    assert (span.number, span.kind, span.before) == (2, "span", None)
    assert record.adjusted
    assert record.found_largest == pytest.approx(0.7)
    assert record.left_largest == pytest.approx(0.1)


def test_a_failure_as_left_is_one_of_the_record_too(technician):
    left = [0.1] * 8 + [-3.2]  # 3.49 mA
    record = a_record(by=technician, found=[0.1] * 9, left=left)
    assert record.shows_failure
    assert (record.found_verdict, record.left_verdict) == ("pass", "fail")


def test_the_ledger_keeps_what_was_sent_in_short(technician):
    a_record(by=technician, found=[1.5] + [0.1] * 8, left=[0.1] * 9)
    entry = LedgerEntry.objects.get(act="submit record")
    assert entry.person == technician
    assert entry.details == {
        "tag": "LT-101A",
        "done on": TODAY.isoformat(),
        "as found": "fail",
        "as left": "pass",
        "adjusted": True,
    }


def test_a_record_of_today_is_not_one_of_a_day_to_come(technician):
    assert a_record(by=technician, done_on=TODAY).done_on == TODAY


def test_without_as_found_the_reason_stands_in_its_place(technician):
    left = a_sent_record(left=[0.1] * 9)
    readings = [reading for reading in left.readings if reading.stage == "as left"]
    record = a_record(by=technician, readings=readings, no_as_found_reason=" the probe was broken ")
    assert (record.no_as_found_reason, record.found_verdict) == ("the probe was broken", "")
    assert record.left_verdict == "pass"
    assert LedgerEntry.objects.get(act="submit record").details["as found"] == "missing"


# ---- the job ----
def test_a_planned_job_of_nobody_becomes_the_sender_s(planner, technician):
    job = jobs.plan(an_equipped_point(), technician=None, by=planner)
    records.submit(job, a_sent_record(), submission=uuid.uuid4(), by=technician, at=NOON)
    job.refresh_from_db()
    assert (job.technician, job.state) == (technician, "submitted")


def test_a_job_of_another_stays_theirs(technician, second_technician):
    job = a_job(by=technician)
    records.submit(job, a_sent_record(), submission=uuid.uuid4(), by=second_technician, at=NOON)
    job.refresh_from_db()
    assert (job.technician, job.records.get().performed_by) == (technician, second_technician)


def test_a_job_that_is_done_takes_no_second_record(technician):
    record = a_record(by=technician)
    with pytest.raises(JobClosed):
        records.submit(record.job, a_sent_record(), submission=uuid.uuid4(), by=technician, at=NOON)
    assert Calibration.objects.count() == 1


# ---- amended ----
def test_an_amendment_names_what_it_corrects_and_why(technician, approver, planner):
    record = an_approved_record(by=technician, approved_by=approver)
    amendment = amend(record, by=planner, reason=" typed twice ").record
    amendment.refresh_from_db()
    assert (amendment.amends, amendment.amend_reason) == (record, "typed twice")
    assert (amendment.job, amendment.performed_by) == (record.job, planner)
    assert (amendment.state, amendment.job.state) == ("submitted", "approved")


def test_an_amendment_needs_its_reason_and_an_approved_record(technician, approver):
    record = a_record(by=technician)
    with pytest.raises(NotApproved):
        amend(record, by=technician)
    approved = an_approved_record(an_equipped_point("LT-2"), by=technician, approved_by=approver)
    with pytest.raises(NoReason):
        amend(approved, by=technician, reason=" ")
    assert not Calibration.objects.exclude(amends=None).exists()


def test_after_a_returned_amendment_another_may_be_sent(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    first = amend(record, by=technician).record
    approval.send_back(first, reason="no slip", by=approver, at=NOON)
    assert amend(record, by=technician).record.amends == record


def test_an_amendment_sent_again_gives_the_same_receipt(technician, approver):
    record, number = an_approved_record(by=technician, approved_by=approver), uuid.uuid4()
    first = amend(record, by=technician, submission=number)
    again = amend(record, by=technician, submission=number)
    assert (first.is_new, again.is_new, first.record) == (True, False, again.record)
    assert LedgerEntry.objects.filter(act="amend record").count() == 1
    with pytest.raises(StoredWithOtherEntries):
        amend(record, by=technician, submission=number, note="later thought")


def test_an_amendment_may_name_a_standard_of_its_own_day(technician, approver):
    day = TODAY - dt.timedelta(30)
    record = an_approved_record(by=technician, approved_by=approver, done_on=day)
    amendment = amend(record, by=technician, done_on=day).record
    assert amendment.standards_used.get().standard == record.standards_used.get().standard
