"""Records: submitted by a technician, approved or returned by somebody else, corrected by an amendment."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from calibration.models import Calibration, Job
from calibration.operations import findings, trends
from calibration.operations.schedule import reschedule
from calibration.operations.sending import SentAdjustment, SentRecord, content_hash, store
from plant.ledger import enter
from plant.models import Person, Transmitter
from plant.permissions import require
from plant.refusals import Refused

__all__ = [
    "Receipt",
    "SentAdjustment",
    "SentRecord",
    "amend",
    "approve",
    "send_back",
    "submit",
    "take_in",
    "told",
]


@dataclass(frozen=True)
class Receipt:
    """Proof that a submission is stored; the same submission sent again gets the same one."""

    record: Calibration
    is_new: bool = field(compare=False)

    @property
    def content_sha256(self) -> str:
        return self.record.content_sha256


def submit(
    job: Job, sent: SentRecord, *, submission: uuid.UUID, by: Person, at: dt.datetime
) -> Receipt:
    """Store a calibration. Sending the same ``submission`` again stores nothing and gives the same receipt.

    Refused when the job is not open, the day lies in the future, no transmitter hung at the point that day, a standard
    has no certificate for that day, or the stages are incomplete without a reason.
    """
    require(by, "calibrate", job.site_id)
    with transaction.atomic():
        job = (
            Job.objects.select_for_update(of=("self",))
            .select_related("point__tank__product", "point__site", "site")
            .get(pk=job.pk)
        )
        digest = content_hash(sent, on=f"job {job.pk}", by=by)
        earlier = _sent_before(submission, digest)
        if earlier:
            return Receipt(earlier, is_new=False)
        record = take_in(job, sent, submission=submission, digest=digest, by=by, at=at)
        enter("submit record", on=record, by=by, details=told(record))
        return Receipt(record, is_new=True)


def take_in(
    job: Job,
    sent: SentRecord,
    *,
    submission: uuid.UUID,
    digest: str,
    by: Person,
    at: dt.datetime,
    transmitter: Transmitter | None = None,
) -> Calibration:
    """Store a calibration as the record of the locked ``job`` and move the job on: what every way of sending shares.

    The caller holds the transaction, which a refusal must leave, has asked for the right and writes the ledger.
    """
    if job.state not in Job.OPEN:
        raise Refused(
            f"The job of {job.point.tag} is {job.state}: it takes no further record. Your entries are kept here."
        )
    record = store(
        job.point, sent, job=job, submission=submission, digest=digest, by=by, at=at,
        transmitter=transmitter,
    )  # fmt: skip
    job.state = Job.State.SUBMITTED
    if job.technician_id is None:
        job.technician = by
    job.save(update_fields=["state", "technician"])
    return record


def amend(
    record: Calibration,
    sent: SentRecord,
    *,
    reason: str,
    submission: uuid.UUID,
    by: Person,
    at: dt.datetime,
) -> Receipt:
    """Send a corrected record in place of an approved one. It counts once somebody else has approved it."""
    require(by, "amend", record.site_id)
    if not reason.strip():
        raise Refused("Say why the record is amended.", field="reason")
    with transaction.atomic():
        record = (
            Calibration.objects.select_for_update(of=("self",))
            .select_related("point__tank__product", "point__site", "site")
            .get(pk=record.pk)
        )
        digest = content_hash(sent, on=f"record {record.pk}", by=by)
        earlier = _sent_before(submission, digest)
        if earlier:
            return Receipt(earlier, is_new=False)
        if record.state != Calibration.State.APPROVED:
            raise Refused(
                f"{record} is {record.get_state_display()}; only an approved record is amended."
            )
        later = record.amendments.exclude(state=Calibration.State.RETURNED).first()
        if later:
            raise Refused(f"{record} already has an amendment (record {later.pk}); amend that one.")
        amendment = store(
            record.point, sent, job=record.job, submission=submission, digest=digest, by=by, at=at,
            amends=record, amend_reason=reason.strip(),
        )  # fmt: skip
        enter("amend record", on=amendment, by=by, why=reason, details=told(amendment))
        return Receipt(amendment, is_new=True)


@transaction.atomic
def approve(
    record: Calibration, *, content_sha256: str, note: str = "", by: Person, at: dt.datetime
) -> Calibration:
    """Sign the record exactly as it was shown (its hash says so). Moves the due date and the trend in one transaction.

    An as found out of tolerance opens a finding. Refused for one's own work and for a record no longer waiting.
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
    """Return the record to its performer with the reason. It stays in the history; a new one is sent instead."""
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


def _sent_before(submission: uuid.UUID, digest: str) -> Calibration | None:
    earlier = Calibration.objects.filter(submission=submission).first()
    if earlier and earlier.content_sha256 != digest:
        raise Refused(
            f"This form was already sent and stored as record {earlier.pk}, with other entries. "
            "Open that record; start the form anew if something must be corrected."
        )
    return earlier


def _waiting(record: Calibration) -> Calibration:
    record = (
        Calibration.objects.select_for_update(of=("self",))
        .select_related("point", "site")
        .get(pk=record.pk)
    )
    if record.state != Calibration.State.SUBMITTED:
        raise Refused(
            f"{record} is {record.get_state_display()}: somebody was quicker. Open it to see what they wrote."
        )
    return record


def told(record: Calibration) -> dict[str, Any]:
    """What the ledger says of a record."""
    return {
        "tag": record.tag,
        "done on": record.done_on,
        "as found": record.found_verdict or "missing",
        "as left": record.left_verdict,
        "adjusted": record.adjusted,
    }
