"""A record approved or returned by somebody else than its performer, and all that follows from
it.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.drift import trends
from calibration.findings import acts as findings
from calibration.intervals.due_dates import reschedule
from calibration.jobs.models import Job
from calibration.records.acts import told
from calibration.records.models import Calibration
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused


@transaction.atomic
def approve(
    record: Calibration, *, content_sha256: str, note: str = "", by: Person, at: dt.datetime
) -> Calibration:
    """Sign the record exactly as it was shown (its hash says so). Moves the due date and the trend
    in one transaction.

    An as found out of tolerance opens a finding. Refused for one's own work and for a record no
    longer waiting.
    """
    require(by, "approve", record.site_id)
    record = _waiting(record)
    if content_sha256 != record.content_sha256:
        raise Refused(
            "The record shown was not this one. Open it again and read it before you sign."
        )
    if by.pk == record.performed_by_id:
        raise Refused("Nobody approves their own work; ask another approver.")
    record.state = Calibration.State.APPROVED
    record.approved_by, record.approved_by_name = by, by.name
    record.approved_at, record.approval_note = at, note.strip()
    record.save(
        update_fields=["state", "approved_by", "approved_by_name", "approved_at", "approval_note"]
    )
    if record.job_id:
        Job.objects.filter(pk=record.job_id).update(state=Job.State.APPROVED)
    reschedule([record.point_id])
    trends.refit([record.point_id])
    finding = findings.open_for(record, at=at)
    record.point.refresh_from_db()
    details = {**told(record), "next due": record.point.due_on, "content": record.content_sha256}
    enter(
        "approve record",
        on=record,
        by=by,
        why=note,
        details=details | ({"finding": finding.pk} if finding else {}),
    )
    return record


@transaction.atomic
def send_back(record: Calibration, *, reason: str, by: Person, at: dt.datetime) -> Calibration:
    """Return the record to its performer with the reason. It stays in the history; a new one is
    sent instead.
    """
    require(by, "approve", record.site_id)
    if not reason.strip():
        raise Refused("Say what is wrong, so that the technician can mend it.", field="reason")
    record = _waiting(record)
    if by.pk == record.performed_by_id:
        raise Refused("Nobody judges their own work; ask another approver.")
    record.state = Calibration.State.RETURNED
    record.returned_by, record.returned_at, record.return_reason = by, at, reason.strip()
    record.save(update_fields=["state", "returned_by", "returned_at", "return_reason"])
    if record.job_id and not record.amends_id:
        Job.objects.filter(pk=record.job_id).update(state=Job.State.RETURNED)
    enter("return record", on=record, by=by, why=reason, details=told(record))
    return record


def _waiting(record: Calibration) -> Calibration:
    record = (
        Calibration.objects.select_for_update(of=("self",))
        .select_related("point", "site")
        .get(pk=record.pk)
    )
    if record.state != Calibration.State.SUBMITTED:
        raise Refused(
            f"{record} is {record.get_state_display()}: somebody was quicker. Open it to see what "
            "they wrote."
        )
    return record
