"""Records: submitted by a technician, corrected by an amendment. Their approval is a room of its
own.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from calibration.jobs.models import Job
from calibration.records.models import Calibration
from calibration.records.sent import SentRecord, content_hash
from calibration.records.submission import store
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused
from plant.transmitters.models import Transmitter


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
    """Store a calibration. Sending the same ``submission`` again stores nothing and gives the same
    receipt.

    Refused when the job is not open, the day lies in the future, no transmitter hung at the point
    that day, a standard has no certificate for that day, or the stages are incomplete without a
    reason.
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
    """Store a calibration as the record of the locked ``job`` and move the job on: what every way
    of sending shares.

    The caller holds the transaction, which a refusal must leave, has asked for the right and writes
    the ledger.
    """
    if job.state not in Job.OPEN:
        raise Refused(
            f"The job of {job.point.tag} is {job.state}: it takes no further record. Your entries "
            "are kept here."
        )
    record = store(
        job.point,
        sent,
        job=job,
        submission=submission,
        digest=digest,
        by=by,
        at=at,
        transmitter=transmitter,
    )
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
    """Send a corrected record in place of an approved one. It counts once somebody else has
    approved it.
    """
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
            record.point,
            sent,
            job=record.job,
            submission=submission,
            digest=digest,
            by=by,
            at=at,
            amends=record,
            amend_reason=reason.strip(),
        )
        enter("amend record", on=amendment, by=by, why=reason, details=told(amendment))
        return Receipt(amendment, is_new=True)


def _sent_before(submission: uuid.UUID, digest: str) -> Calibration | None:
    earlier = Calibration.objects.filter(submission=submission).first()
    if earlier and earlier.content_sha256 != digest:
        raise Refused(
            f"This form was already sent and stored as record {earlier.pk}, with other entries. "
            "Open that record; start the form anew if something must be corrected."
        )
    return earlier


def told(record: Calibration) -> dict[str, Any]:
    """What the ledger says of a record."""
    return {
        "tag": record.tag,
        "done on": record.done_on,
        "as found": record.found_verdict or "missing",
        "as left": record.left_verdict,
        "adjusted": record.adjusted,
    }
