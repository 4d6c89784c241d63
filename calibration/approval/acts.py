"""Approving a record and returning it, each in one readable list of what follows."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from calibration.approval.refusals import AlreadyDecided, NoReason, NotAsShown, OwnWork
from calibration.drift import trends
from calibration.findings import acts as findings
from calibration.findings.models import Finding
from calibration.intervals.due_dates import reschedule
from calibration.jobs.models import Job
from calibration.records.acts import ledger_details
from calibration.records.models import Calibration
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require


@transaction.atomic
def approve(
    record: Calibration, *, content_sha256: str, note: str = "", by: Person, at: dt.datetime
) -> Calibration:
    """Sign the record exactly as it was shown (its hash says so), with all that follows, in one
    transaction.

    Refused for one's own work and for a record no longer waiting.
    """
    require(by, "approve", record.site_id)
    record = _waiting(record, by=by)
    if content_sha256 != record.content_sha256:
        raise NotAsShown(record)
    _sign(record, note=note, by=by, at=at)
    _close_job(record, Job.State.APPROVED)
    reschedule([record.point_id])
    trends.refit([record.point_id])
    finding = findings.open_for(record, at=at)
    enter("approve record", on=record, by=by, why=note, details=_details(record, finding))
    return record


@transaction.atomic
def send_back(record: Calibration, *, reason: str, by: Person, at: dt.datetime) -> Calibration:
    """Return the record to its performer with the reason. It stays in the history; a new one is
    submitted instead.
    """
    require(by, "approve", record.site_id)
    if not reason.strip():
        raise NoReason
    record = _waiting(record, by=by)
    record.state = Calibration.State.RETURNED
    record.returned_by, record.returned_at, record.return_reason = by, at, reason.strip()
    record.save(update_fields=["state", "returned_by", "returned_at", "return_reason"])
    if not record.amends_id:
        _close_job(record, Job.State.RETURNED)
    enter("return record", on=record, by=by, why=reason, details=ledger_details(record))
    return record


def _waiting(record: Calibration, *, by: Person) -> Calibration:
    """The record, locked. Refused where it waits no longer, or is one's own."""
    record = (
        Calibration.objects.select_for_update(of=("self",))
        .select_related("point", "site")
        .get(pk=record.pk)
    )
    if record.state != Calibration.State.SUBMITTED:
        raise AlreadyDecided(record)
    if by.pk == record.performed_by_id:
        raise OwnWork(record)
    return record


def _sign(record: Calibration, *, note: str, by: Person, at: dt.datetime) -> None:
    record.state = Calibration.State.APPROVED
    record.approved_by, record.approved_by_name = by, by.name
    record.approved_at, record.approval_note = at, note.strip()
    record.save(
        update_fields=["state", "approved_by", "approved_by_name", "approved_at", "approval_note"]
    )


def _close_job(record: Calibration, state: Job.State) -> None:
    if record.job_id:
        Job.objects.filter(pk=record.job_id).update(state=state)


def _details(record: Calibration, finding: Finding | None) -> dict[str, Any]:
    record.point.refresh_from_db()
    details = {
        **ledger_details(record),
        "next due": record.point.due_on,
        "content": record.content_sha256,
    }
    return details | ({"finding": finding.pk} if finding else {})
