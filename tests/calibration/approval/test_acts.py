"""An approval and a return: what each signs, moves, opens and enters, and what it refuses."""

from __future__ import annotations

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.approval import acts as approval
from calibration.approval.refusals import AlreadyDecided, NoReason, OwnWork
from calibration.findings.models import Finding
from calibration.jobs.models import Job
from calibration.records import acts as records
from calibration.records.models import Calibration
from plant.ledger.models import LedgerEntry
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_job,
    a_record,
    a_sent_record,
    an_approved_record,
    an_equipped_point,
)
from tests.races import outcomes

pytestmark = pytest.mark.django_db

OUT, WITHIN = [1.5] + [0.1] * 8, [0.1] * 9


def approve(record: Calibration, *, by, note: str = "") -> Calibration:
    return approval.approve(record, content_sha256=record.content_sha256, note=note, by=by, at=NOON)


def an_amendment(technician, approver, planner, **sent) -> Calibration:
    record = an_approved_record(by=technician, approved_by=approver)
    return records.amend(
        record,
        a_sent_record(**sent),
        reason="slip",
        submission=uuid.uuid4(),
        by=planner,
        at=NOON,
    ).record


# ---- approved ----
def test_an_approval_is_signed_by_name_and_time_with_its_note(technician, approver):
    record = approve(a_record(by=technician), note=" seen on site ", by=approver)
    record.refresh_from_db()
    assert (record.state, record.approved_by, record.approved_at) == ("approved", approver, NOON)
    assert (record.approved_by_name, record.approval_note) == ("S. Fenharrow", "seen on site")


def test_the_ledger_keeps_the_content_that_was_signed_and_the_next_due_date(technician, approver):
    record = approve(a_record(by=technician), by=approver, note="fine")
    entry = LedgerEntry.objects.get(act="approve record")
    assert (entry.person, entry.why) == (approver, "fine")
    assert entry.details == {
        "tag": "LT-101A",
        "done on": TODAY.isoformat(),
        "as found": "pass",
        "as left": "pass",
        "adjusted": False,
        "next due": "2027-11-02",
        "content": record.content_sha256,
    }


def test_the_ledger_names_the_finding_that_an_approval_opens(technician, approver):
    approve(a_record(by=technician, found=OUT, left=WITHIN), by=approver)
    finding = Finding.objects.get()
    details = LedgerEntry.objects.get(act="approve record").details
    assert details["finding"] == finding.pk
    assert (details["as found"], details["adjusted"]) == ("fail", True)
    assert (finding.opened_at, finding.largest_percent) == (NOON, pytest.approx(1.5, abs=0.01))
    assert (finding.site, finding.point) == (finding.record.site, finding.record.point)


def test_an_approval_closes_its_own_job_and_no_other(technician, approver):
    record = a_record(by=technician)
    other = a_job(an_equipped_point("LT-2"), by=technician)
    approve(record, by=approver)
    assert Job.objects.get(pk=record.job_id).state == "approved"
    assert Job.objects.get(pk=other.pk).state == "in hand"


# ---- returned ----
def test_a_return_says_who_when_and_why_and_hands_the_job_back(technician, approver):
    record = approval.send_back(a_record(by=technician), reason=" blurred ", by=approver, at=NOON)
    record.refresh_from_db()
    assert (record.state, record.returned_by, record.returned_at) == ("returned", approver, NOON)
    assert record.return_reason == "blurred"
    assert record.job.state == "returned"


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_return_needs_its_reason(technician, approver, reason):
    record = a_record(by=technician)
    with pytest.raises(NoReason) as refusal:
        approval.send_back(record, reason=reason, by=approver, at=NOON)
    assert refusal.value.field == "reason"
    record.refresh_from_db()
    assert record.state == "submitted"


def test_nobody_returns_their_own_work_or_what_is_decided(technician, approver):
    approver.appointments.create(
        site=approver.appointments.get().site, role="technician", starts_on=LONG_AGO
    )
    own = a_record(by=approver)
    with pytest.raises(OwnWork):
        approval.send_back(own, reason="no", by=approver, at=NOON)
    decided = approve(a_record(an_equipped_point("LT-2"), by=technician), by=approver)
    with pytest.raises(AlreadyDecided):
        approval.send_back(decided, reason="no", by=approver, at=NOON)


def test_a_returned_amendment_leaves_the_job_of_its_record_closed(technician, approver, planner):
    amendment = an_amendment(technician, approver, planner)
    approval.send_back(amendment, reason="no slip", by=approver, at=NOON)
    amendment.refresh_from_db()
    assert (amendment.state, amendment.job.state) == ("returned", "approved")


def test_an_approved_amendment_stands_in_place_of_its_record(technician, approver, planner):
    amendment = approve(an_amendment(technician, approver, planner, found=OUT), by=approver)
    standing = Calibration.objects.standing().get()
    assert standing == amendment
    assert Finding.objects.get().record == amendment


# ---- at once ----
@pytest.mark.django_db(transaction=True)
def test_of_an_approval_and_a_return_at_once_one_is_told_of_the_other(technician, approver):
    for n in range(3):
        record = a_record(an_equipped_point(f"LT-{n}"), by=technician)
        outcome = outcomes(
            lambda record=record: approve(record, by=approver),
            lambda record=record: approval.send_back(record, reason="no", by=approver, at=NOON),
        )
        assert outcome[0] == "done"
        assert "is already" in outcome[1]
        acts = LedgerEntry.objects.filter(
            subject_id=record.pk, act__in=("approve record", "return record")
        )
        assert acts.count() == 1


def test_an_approval_takes_sixteen_statements_at_most(technician, approver):
    """Due date, drift, status and finding with it; savepoints do not count."""
    record = a_record(by=technician)
    with CaptureQueriesContext(connection) as asked:
        approve(record, by=approver)
    said = [query["sql"] for query in asked.captured_queries if "SAVEPOINT" not in query["sql"]]
    assert len(said) <= 16, "\n".join(sql[:100] for sql in said)
