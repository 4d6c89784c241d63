"""Works from the plant: signed by their hash, sent, stored as a record or set aside, settled by a
person.

Nothing that was signed is ever dropped or merged: what cannot become a record as the register
stands is kept word for word with the reasons, until a planner or approver settles it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, transaction
from django.db.models import Exists, FilteredRelation, OuterRef, Q
from django.db.models.functions import JSONObject

from calibration.jobs.models import Job
from calibration.procedures.models import ProcedureStep
from calibration.records import acts as records
from calibration.records.entry import RecordEntry, Submission, content_hash
from calibration.records.models import Calibration
from calibration.tablet.content import Content, read, record_entry
from calibration.tablet.days import DayOfWork, day_of_work
from calibration.tablet.models import FieldPhoto, FieldWork
from calibration.tablet.packs import register_sha, register_told
from plant.ledger.writer import enter
from plant.people.models import Appointment, Person
from plant.people.permissions import may, require
from plant.quantities import day_text
from plant.refusals import NotAllowed, Refused
from plant.transmitters.models import Installation, Transmitter

MOST_SIGNED = 100
State = FieldWork.State


class NotSigned(NotAllowed):
    """No work of that id was signed by this person."""


class NotAsSigned(Refused):
    """What was sent is not what was signed."""


# ---- signing ----
@dataclass(frozen=True)
class ToSign:
    submission: uuid.UUID
    job_id: int
    sha256: str


@dataclass(frozen=True)
class Signed:
    """Works that are now signed (again: were before), and those that are not, with the reason."""

    skew_seconds: float
    signed: list[uuid.UUID] = field(default_factory=list)
    refused: list[tuple[uuid.UUID, str]] = field(default_factory=list)


@transaction.atomic
def sign(
    works: Sequence[ToSign], *, device: str, device_at: dt.datetime, by: Person, at: dt.datetime
) -> Signed:
    """Sign works by their hashes; the password was asked for by the caller. Signing the same again
    changes nothing.

    Refused one by one: another's submission, another content under a signed one, a job at which the
    person may not calibrate. Each newly signed work has its ledger entry, and so has each refused
    change of a signed one.
    """
    if not by.site_ids("calibrate"):
        raise NotAllowed("Only a technician signs works. Ask an administrator to appoint you.")
    done = Signed(skew_seconds=(device_at - at).total_seconds())
    # One after the other, so that a repeat at the same moment finds what the first has signed.
    Person.objects.select_for_update(no_key=True).get(pk=by.pk)
    wanted = {work.submission: work for work in works[:MOST_SIGNED]}
    jobs = Job.objects.in_bulk({work.job_id for work in wanted.values()})
    before = _signed_before(wanted)
    new = [
        FieldWork(
            submission=work.submission,
            site_id=job.site_id,
            job=job,
            person=by,
            content_sha256=work.sha256,
            signed_at=at,
            device=device[:120],
            skew_seconds=done.skew_seconds,
        )
        for work in wanted.values()
        if work.submission not in before
        and (job := jobs.get(work.job_id))
        and may(by, "calibrate", job.site_id)
    ]
    FieldWork.objects.bulk_create(new, ignore_conflicts=True)
    stored = _signed_before(wanted)
    for submission, work in wanted.items():
        held = stored.get(submission)
        said = _not_signed(held, work, by)
        if said:
            done.refused.append((submission, said))
        else:
            done.signed.append(submission)
        if held and held.person_id == by.pk:
            _tell_signed(held, work, is_new=submission not in before, said=said, by=by)
    return done


def _signed_before(wanted: dict[uuid.UUID, ToSign]) -> dict[uuid.UUID, FieldWork]:
    rows = FieldWork.objects.filter(submission__in=list(wanted)).select_related("person")
    return {row.submission: row for row in rows}


def _not_signed(held: FieldWork | None, work: ToSign, by: Person) -> str:
    if held is None:
        return (
            f"Job {work.job_id} is not one at which you may calibrate. Your entries stay on "
            "the tablet."
        )
    if held.person_id != by.pk:
        return "This work was signed by somebody else. Nothing of theirs was changed."
    if held.content_sha256 != work.sha256 or held.job_id != work.job_id:
        return "This work was signed before, with other entries. What was signed first stands."
    return ""


def _tell_signed(held: FieldWork, work: ToSign, *, is_new: bool, said: str, by: Person) -> None:
    if said:
        enter("refuse signature", on=held, by=by, why=said, details={"content": work.sha256})
    elif is_new:
        details = {
            "job": held.job_id,
            "content": held.content_sha256,
            "tablet": held.device,
            "tablet's clock ahead by, s": round(held.skew_seconds),
        }
        enter("sign work", on=held, by=by, details=details)


# ---- receiving ----
def receive(
    submission: uuid.UUID, text: str, *, by: Person, at: dt.datetime
) -> tuple[FieldWork, bool]:
    """Take in what was signed: the work, now stored or set aside, and whether that is new. Again
    gives the same.

    Raises NotSigned, or NotAsSigned where the text is another one. Whatever else is wrong sets the
    work aside.
    """
    digest = hashlib.sha256(text.encode()).hexdigest()
    try:
        content: Content | None = read(text)
        trouble = ""
    except Refused as refusal:
        content, trouble = None, str(refusal)
    try:
        with transaction.atomic():
            work = _locked(submission, content, digest, by=by, at=at)
            if work.state != State.SIGNED:
                return work, False
            work.content, work.received_at = text, at
            if content is None:
                return _set_aside(work, [_told("content", trouble)], by=by), True
            return _take(work, content, by=by, at=at), True
    except (NotSigned, NotAsSigned):
        raise
    except (Refused, ValidationError, DataError, IntegrityError) as refusal:
        said = _words_of(refusal)
    # What refused it left the transaction; the work itself must not be lost with that.
    with transaction.atomic():
        work = _locked(submission, content, digest, by=by, at=at)
        if work.state != State.SIGNED:
            return work, False
        work.content, work.received_at = text, at
        return _set_aside(work, [_told("record", said)], by=by), True


def _take(work: FieldWork, content: Content, *, by: Person, at: dt.datetime) -> FieldWork:
    """Store it as the record of its job; or set it aside where the site has gone on meanwhile."""
    day = day_of_work(content, work, at=at)
    hung = transmitter_of(work, content, day.on)
    troubles = _troubles(work, content, day, hung)
    if troubles:
        return _set_aside(work, troubles, by=by)
    require(by, "calibrate", work.site_id)
    record = take_in(work, content, work.job, hung, done_on=day.on, at=at)
    work.troubles = [_told("day", day.said)] if day.said else []
    finish(work, State.STORED, record)
    details = records.ledger_details(record) | {"from": "tablet", "work": work.pk}
    enter("submit record", on=record, by=by, details=details)
    return work


def _locked(
    submission: uuid.UUID, content: Content | None, digest: str, *, by: Person, at: dt.datetime
) -> FieldWork:
    """The work with all that storing and answering take, in one query; the work and its job are
    locked.
    """
    day = content.done_on if content else at.date()
    work = with_all(day, at).filter(submission=submission).first()
    if work is None or work.person_id != by.pk:
        raise NotSigned("This work was not signed by you. Sign it with your password, then send.")
    if work.content_sha256 != digest:
        raise NotAsSigned("What was sent is not what was signed. Sign it again, then send.")
    return work


def with_all(day: dt.date, at: dt.datetime) -> Any:
    at_point = Installation.objects.filter(point=OuterRef("job__point"))
    standing = Calibration.objects.standing().filter(point=OuterRef("job__point"))
    approvers = Appointment.objects.in_force(at.date()).filter(
        site=OuterRef("site"), role="approver", person__is_active=True
    )
    photos = FieldPhoto.objects.filter(work=OuterRef("pk"))
    hung = Q(job__point__installations__installed_on__lte=day) & (
        Q(job__point__installations__removed_on=None)
        | Q(job__point__installations__removed_on__gt=day)
    )
    rows: Any = FieldWork.objects.select_for_update(of=("self", "job")).annotate(
        hung=FilteredRelation("job__point__installations", condition=hung),
        present_ids=ArraySubquery(at_point.filter(removed_on=None).values("transmitter_id")),
        days_done=ArraySubquery(standing.values("done_on")),
        approvers=ArraySubquery(
            approvers.order_by("person__name").values(
                told=JSONObject(id="person", name="person__name")
            )
        ),
        photos_here=ArraySubquery(photos.values("sha256")),
        is_taken=Exists(Calibration.objects.filter(submission=OuterRef("submission"))),
    )
    return rows.select_related(
        "person",
        "job__technician",
        "job__site",
        "job__point__site",
        "job__point__tank__product",
        "hung__transmitter",
    )


def _troubles(
    work: FieldWork, content: Content, day: DayOfWork, hung: Transmitter | None
) -> list[dict[str, str]]:
    """Where the site has gone on since the pack was fetched; empty where nothing has."""
    job, on = work.job, day_text(day.on)
    # At the site now and on the day, and as the tablet had it: one and the same.
    ids = {content.transmitter_id, hung and hung.pk, *work.present_ids}  # type: ignore[attr-defined]
    today = register_sha(register_told(job.point, hung))
    looked_at = [
        (
            content.job_id != job.pk,
            "job",
            "The work names another job than the one it was signed for.",
        ),
        (
            job.state not in Job.OPEN,
            "job",
            f"The job of {job.point.tag} is {job.get_state_display()} by now.",
        ),
        (
            job.technician_id not in (None, work.person_id),
            "technician",
            f"The job is with {job.technician} by now.",
        ),
        (hung is None, "transmitter", f"No transmitter is registered there on {on}."),
        (
            hung is not None and len(ids) > 1,
            "transmitter",
            f"Another transmitter hangs there by now, or hung there on {on}.",
        ),
        (
            today != content.register_sha,
            "register",
            "The register tells this point otherwise than the tablet had it.",
        ),
        (day.is_uncertain, "day", day.said),
        (work.is_taken, "record", "A record was already stored under this work's number."),  # type: ignore[attr-defined]
    ]
    return [_told(what, said) for is_so, what, said in looked_at if is_so]


def transmitter_of(work: FieldWork, content: Content, on: dt.date) -> Transmitter | None:
    """The one that hung at the point on the day; read with the work where that is the day of the
    content.
    """
    if on == content.done_on:
        hung = getattr(work, "hung", None)
        return hung.transmitter if hung else None
    rows = Installation.objects.on_day(on).filter(point=work.job.point_id)
    row = rows.select_related("transmitter").first()
    return row.transmitter if row else None


def take_in(
    work: FieldWork,
    content: Content,
    job: Job,
    hung: Transmitter | None,
    *,
    done_on: dt.date,
    at: dt.datetime,
) -> Calibration:
    entry = _record_entry(content, done_on=done_on)
    digest = content_hash(entry, on=f"job {job.pk}", by=work.person)
    sender = Submission(work.submission, digest, by=work.person, at=at)
    return records.store_for_job(job, entry, sender, transmitter=hung)


def _record_entry(content: Content, *, done_on: dt.date) -> RecordEntry:
    steps = ProcedureStep.objects.filter(
        version=content.version_id, version__published_on__isnull=False
    ).select_related("version")
    rows = list(steps.order_by("number"))
    if not rows:
        raise Refused("The procedure that was followed is not published here.")
    return record_entry(content, rows, done_on=done_on)


def _set_aside(work: FieldWork, troubles: list[dict[str, str]], *, by: Person) -> FieldWork:
    work.troubles = troubles
    finish(work, State.SET_ASIDE, None)
    why = " ".join(trouble["said"] for trouble in troubles)
    enter("set work aside", on=work, by=by, why=why, details={"job": work.job_id})
    return work


def finish(work: FieldWork, state: str, record: Calibration | None) -> None:
    work.state, work.record = state, record
    work.save(
        update_fields=[
            "state",
            "record",
            "troubles",
            "content",
            "received_at",
            "settled_by",
            "settled_at",
            "settled_why",
        ]
    )


def _told(what: str, said: str) -> dict[str, str]:
    return {"what": what, "said": said}


def _words_of(error: Exception) -> str:
    """Why it could not be stored, in the words of the rule; of the database as little as tells."""
    if isinstance(error, ValidationError):
        return " ".join(error.messages)
    if isinstance(error, Refused):
        return str(error)
    return f"The database refuses it: {str(error).splitlines()[0]}"
