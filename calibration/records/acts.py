"""Records: submitted by a technician, corrected by an amendment. Their approval is a room of its
own.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db import transaction

from calibration.jobs.models import Job
from calibration.policies.models import Policy
from calibration.procedures.models import parts_tested
from calibration.records.certificates import Pair, certificates_on, check_ranges
from calibration.records.devices import device_of
from calibration.records.entry import RecordEntry, Submission, content_hash
from calibration.records.judging import (
    STAGES,
    Range,
    StageResult,
    figure_columns,
    judge_stages,
    policy_of,
    shape_column,
    with_what_it_stood_at,
)
from calibration.records.models import Adjustment, Calibration, Reading, StandardUse, StepTaken
from calibration.records.refusals import (
    AlreadyAmended,
    DayInFuture,
    JobClosed,
    NoReason,
    NotApproved,
    ReadingsMissing,
    StoredWithOtherEntries,
)
from calibration.records.register_copy import register_in, register_of
from calibration.records.setup import Setup
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.saving import constraint_messages
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
    job: Job, entry: RecordEntry, *, submission: uuid.UUID, by: Person, at: dt.datetime
) -> Receipt:
    """Store a calibration. Sending the same ``submission`` again stores nothing and gives the same
    receipt.

    Refused when the job is not open, the day is in the future, no transmitter was installed at the
    point that day, a standard has no certificate for that day, or the stages are incomplete
    without a reason.
    """
    require(by, "calibrate", job.site_id)
    with transaction.atomic():
        job = (
            Job.objects.select_for_update(of=("self",))
            .select_related("point__tank__product", "point__site", "site")
            .get(pk=job.pk)
        )
        sender = Submission(submission, content_hash(entry, on=f"job {job.pk}", by=by), by, at)
        earlier = _stored_before(sender)
        if earlier:
            return Receipt(earlier, is_new=False)
        record = store_for_job(job, entry, sender)
        enter("submit record", on=record, by=by, details=ledger_details(record))
        return Receipt(record, is_new=True)


def store_for_job(
    job: Job, entry: RecordEntry, sender: Submission, *, transmitter: Transmitter | None = None
) -> Calibration:
    """Store a calibration as the record of the locked ``job`` and move the job on: what the form
    and the tablet share.

    The caller holds the transaction, which a refusal must leave, has asked for the right and writes
    the ledger.
    """
    if job.state not in Job.OPEN:
        raise JobClosed(job)
    record = _store(job.point, entry, sender, job=job, transmitter=transmitter)
    job.state = Job.State.SUBMITTED
    if job.technician_id is None:
        job.technician = sender.by
    job.save(update_fields=["state", "technician"])
    return record


def amend(
    record: Calibration,
    entry: RecordEntry,
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
        raise NoReason
    with transaction.atomic():
        record = (
            Calibration.objects.select_for_update(of=("self",))
            .select_related("point__tank__product", "point__site", "site")
            .get(pk=record.pk)
        )
        digest = content_hash(entry, on=f"record {record.pk}", by=by)
        sender = Submission(submission, digest, by, at)
        earlier = _stored_before(sender)
        if earlier:
            return Receipt(earlier, is_new=False)
        _check_amendable(record)
        amendment = _store(
            record.point, entry, sender, job=record.job, amends=record, reason=reason.strip()
        )
        enter("amend record", on=amendment, by=by, why=reason, details=ledger_details(amendment))
        return Receipt(amendment, is_new=True)


def ledger_details(record: Calibration) -> dict[str, Any]:
    """What the ledger keeps of a record."""
    return {
        "tag": record.tag,
        "done on": record.done_on,
        "as found": record.found_verdict or "missing",
        "as left": record.left_verdict,
        "adjusted": record.adjusted,
    }


def _stored_before(sender: Submission) -> Calibration | None:
    earlier = Calibration.objects.filter(submission=sender.id).first()
    if earlier and earlier.content_sha256 != sender.digest:
        raise StoredWithOtherEntries(earlier)
    return earlier


def _check_amendable(record: Calibration) -> None:
    if record.state != Calibration.State.APPROVED:
        raise NotApproved(record)
    later = record.amendments.exclude(state=Calibration.State.RETURNED).first()
    if later:
        raise AlreadyAmended(record, later)


# ---- storing the rows of a record ----
def _store(
    point: MeasuringPoint,
    entry: RecordEntry,
    sender: Submission,
    *,
    job: Job | None,
    transmitter: Transmitter | None = None,
    amends: Calibration | None = None,
    reason: str = "",
) -> Calibration:
    """``transmitter``: the one installed there on the day, where the caller has read it already."""
    if entry.done_on > point.site.day_of(sender.at):
        raise DayInFuture(entry.done_on)
    transmitter = transmitter or device_of(
        point,
        entry.done_on,
        wanted=entry.transmitter,
        usual=amends.transmitter if amends else None,
    )
    certified = certificates_on(
        entry.done_on, entry.standards, point, entry.way, entry.procedure_version
    )
    if amends is None:
        check_ranges(certified, point)
    # An amendment corrects what was measured that day, under the range and tolerance of that day.
    register = register_in(amends) if amends else register_of(point, transmitter)
    setup = _setup(point, transmitter, entry, certified)
    results, uncertainty = judge_stages(
        {name: entry.stage(name) for name in STAGES},
        Range.of(register),
        setup,
        _policy(point, amends),
        entry.without_level,
    )
    _check_stages(entry, results)
    results = with_what_it_stood_at(results)
    record = Calibration(
        site=point.site,
        point=point,
        transmitter=transmitter,
        job=job,
        amends=amends,
        amend_reason=reason,
        **_entered(entry, sender),
        **register,
        **uncertainty,
        **_figures(results),
    )
    # The database holds every rule of a record; asking them one by one before would cost forty
    # statements.
    with constraint_messages(savepoint=False):
        record.save()
    _store_parts(record, entry, results, certified)
    return record


def _setup(
    point: MeasuringPoint, transmitter: Transmitter, entry: RecordEntry, certified: Sequence[Pair]
) -> Setup:
    """What the uncertainty of the day rests on."""
    return Setup(
        point,
        transmitter,
        entry.way,
        certified,
        entry.ambient_c,
        entry.product_c,
        entry.procedure_version,
    )


def _entered(entry: RecordEntry, sender: Submission) -> dict[str, Any]:
    """The columns that say who did what, and how it came."""
    return {
        "procedure_version": entry.procedure_version,
        "source": entry.source,
        "submission": sender.id,
        "content_sha256": sender.digest,
        "submitted_at": sender.at,
        "done_on": entry.done_on,
        "performed_by": sender.by,
        "performed_by_name": sender.by.name,
        "way": entry.way,
        "ambient_c": entry.ambient_c,
        "product_c": entry.product_c,
        "no_as_found_reason": entry.no_as_found_reason.strip(),
        "note": entry.note.strip(),
        "adjusted": bool(entry.adjustments),
        **parts_tested(entry.procedure_version, entry.way),
    }


def _figures(results: Mapping[str, StageResult]) -> dict[str, Any]:
    found, left = results["as found"], results["as left"]
    return {
        "shows_failure": found.shows_failure or left.shows_failure,
        "shape": shape_column(found, left),
        **figure_columns("found", found),
        # Not adjusted: as left is as found.
        **figure_columns("left", left if left.readings else found),
    }


def _store_parts(
    record: Calibration,
    entry: RecordEntry,
    results: Mapping[str, StageResult],
    certified: Sequence[Pair],
) -> None:
    readings = [reading for stage in STAGES for reading in results[stage].readings]
    for reading in readings:
        reading.record = record
    Reading.objects.bulk_create(readings)
    Adjustment.objects.bulk_create(
        Adjustment(record=record, number=n, **asdict(a)) for n, a in enumerate(entry.adjustments, 1)
    )
    StandardUse.objects.bulk_create(
        StandardUse(record=record, standard=s, certificate=c) for s, c in certified
    )
    StepTaken.objects.bulk_create(
        StepTaken(record=record, by_name=record.performed_by_name, **asdict(step))
        for step in entry.steps
    )


def _policy(point: MeasuringPoint, amends: Calibration | None) -> Policy:
    """An amendment is judged by the rule of the record that it amends."""
    if amends is None:
        return Policy.objects.of_point(point)
    rule = (amends.budget or {}).get("rule")
    return policy_of(rule) if rule else Policy()


def _check_stages(entry: RecordEntry, results: Mapping[str, StageResult]) -> None:
    """As it stands and as found come before any adjustment; what was adjusted is read again. A
    failure as it stands, with the reason why no more could be read, is complete; so is an error
    there beyond the tolerance.
    """
    standing, found, left = (bool(results[name].readings) for name in STAGES)
    has_reason = bool(entry.no_as_found_reason.strip())
    missing = (
        (not standing and not has_reason, "as it stands"),
        (not found and not has_reason, "as found"),
        (bool(entry.adjustments) and not left, "as left"),
        (not found and not left and results["as it stands"].verdict != "fail", ""),
    )
    for is_missing, stage in missing:
        if is_missing:
            raise ReadingsMissing(stage)
