"""Works from the plant: signed by their hash, received, stored as a record or set aside, with their
photos. What was set aside is settled by calibration.tablet.set_aside_acts.

Nothing that was signed is ever dropped or merged: what cannot become a record as the register is
now is kept word for word with the reasons, until a planner or approver settles it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, transaction

from calibration.jobs.models import Job
from calibration.records import acts as records
from calibration.records.entry import Submission, content_hash
from calibration.records.models import Calibration
from calibration.tablet import photos
from calibration.tablet.content import MOST_PHOTOS, Content, read
from calibration.tablet.days import day_of_work
from calibration.tablet.models import FieldKey, FieldPhoto, FieldWork
from calibration.tablet.refusals import NotAsSigned, NotSigned
from calibration.tablet.works import differences, entry_of, locked_works, reason, transmitter_of
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.refusals import NotAllowed, Refused
from plant.transmitters.models import Transmitter

MOST_SIGNED = 100


def sealing_key(person: Person, *, at: dt.datetime) -> bytes:
    """The key under which this person's unsent work is sealed on tablets; made when first asked
    for.

    It is in no ledger and no row history: whoever reads those could open a lost tablet with it.
    """
    held = FieldKey.objects.filter(person=person).first()
    if held is None:
        new = FieldKey(person=person, key=secrets.token_bytes(32), made_at=at)
        FieldKey.objects.bulk_create([new], ignore_conflicts=True)  # two tablets at once: one key
        held = FieldKey.objects.get(person=person)
    return bytes(held.key)


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
        raise NotAllowed(
            "Only a technician signs tablet records. Ask an administrator to appoint you."
        )
    done = Signed(skew_seconds=(device_at - at).total_seconds())
    # One after the other, so that a repeat at the same moment finds what the first has signed.
    Person.objects.select_for_update(no_key=True).get(pk=by.pk)
    wanted = {work.submission: work for work in works[:MOST_SIGNED]}
    before = _works_signed(wanted)
    new = [work for work in wanted.values() if work.submission not in before]
    clock = {"signed_at": at, "device": device[:120], "skew_seconds": done.skew_seconds}
    FieldWork.objects.bulk_create(_new_works(new, by=by, clock=clock), ignore_conflicts=True)
    stored = _works_signed(wanted)
    for submission, work in wanted.items():
        held = stored.get(submission)
        why = _why_not_signed(held, work, by)
        if why:
            done.refused.append((submission, why))
        else:
            done.signed.append(submission)
        if held and held.person_id == by.pk:
            _enter_signature(held, work, is_new=submission not in before, why=why, by=by)
    return done


def _works_signed(wanted: dict[uuid.UUID, ToSign]) -> dict[uuid.UUID, FieldWork]:
    rows = FieldWork.objects.filter(submission__in=list(wanted)).select_related("person")
    return {row.submission: row for row in rows}


def _new_works(works: Sequence[ToSign], *, by: Person, clock: dict[str, Any]) -> list[FieldWork]:
    """Those of jobs at which the person may calibrate; ``clock``: when and where it was signed."""
    jobs = Job.objects.in_bulk({work.job_id for work in works})
    return [
        FieldWork(
            submission=work.submission,
            site_id=job.site_id,
            job=job,
            person=by,
            content_sha256=work.sha256,
            **clock,
        )
        for work in works
        if (job := jobs.get(work.job_id)) and may(by, "calibrate", job.site_id)
    ]


def _why_not_signed(held: FieldWork | None, work: ToSign, by: Person) -> str:
    if held is None:
        return (
            f"Job {work.job_id} is not one at which you may calibrate. Your entries stay on "
            "the tablet."
        )
    if held.person_id != by.pk:
        return "This tablet record was signed by somebody else. Nothing of theirs was changed."
    if held.content_sha256 != work.sha256 or held.job_id != work.job_id:
        return (
            "This tablet record was signed before, with other entries. What was signed first is "
            "kept."
        )
    return ""


def _enter_signature(held: FieldWork, work: ToSign, *, is_new: bool, why: str, by: Person) -> None:
    if why:
        enter("refuse signature", on=held, by=by, why=why, details={"content": work.sha256})
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
    """Store what was signed: the work, now stored or set aside, and whether that is new. The same
    again gives the same.

    Raises NotSigned, or NotAsSigned where the text is another one. Whatever else is wrong sets the
    work aside.
    """
    content, why = _read(text)
    digest = hashlib.sha256(text.encode()).hexdigest()
    try:
        with transaction.atomic():
            work = _locked(submission, content, digest, by=by, at=at)
            if work.state != FieldWork.State.SIGNED:
                return work, False
            work.content, work.received_at = text, at
            if content is None:
                return _set_aside(work, [reason("content", why)], by=by), True
            return _store(work, content, by=by, at=at), True
    except (NotSigned, NotAsSigned):
        raise
    except (Refused, ValidationError, DataError, IntegrityError) as refusal:
        why = _in_words(refusal)
    # What refused it left the transaction; the work itself must not be lost with that.
    with transaction.atomic():
        work = _locked(submission, content, digest, by=by, at=at)
        if work.state != FieldWork.State.SIGNED:
            return work, False
        work.content, work.received_at = text, at
        return _set_aside(work, [reason("record", why)], by=by), True


def _read(text: str) -> tuple[Content | None, str]:
    """The content, or none and why it cannot be read."""
    try:
        return read(text), ""
    except Refused as refusal:
        return None, str(refusal)


def _store(work: FieldWork, content: Content, *, by: Person, at: dt.datetime) -> FieldWork:
    """Store it as the record of its job; or set it aside where the site has changed in between."""
    day = day_of_work(content, work, at=at)
    transmitter = transmitter_of(work, content, day.on)
    reasons = differences(work, content, day, transmitter)
    if reasons:
        return _set_aside(work, reasons, by=by)
    require(by, "calibrate", work.site_id)
    record = store_record(work, content, work.job, transmitter, done_on=day.on, at=at)
    work.troubles = [reason("day", day.said)] if day.said else []
    finish(work, FieldWork.State.STORED, record)
    details = records.ledger_details(record) | {"from": "tablet", "work": work.pk}
    enter("submit record", on=record, by=by, details=details)
    return work


def _locked(
    submission: uuid.UUID, content: Content | None, digest: str, *, by: Person, at: dt.datetime
) -> FieldWork:
    day = content.done_on if content else at.date()
    work: FieldWork | None = locked_works(day, at).filter(submission=submission).first()
    if work is None or work.person_id != by.pk:
        raise NotSigned
    if work.content_sha256 != digest:
        raise NotAsSigned
    return work


def store_record(
    work: FieldWork,
    content: Content,
    job: Job,
    transmitter: Transmitter | None,
    *,
    done_on: dt.date,
    at: dt.datetime,
) -> Calibration:
    """The record of ``job`` from a work; the caller holds the transaction and writes the ledger."""
    entry = entry_of(content, done_on=done_on)
    digest = content_hash(entry, on=f"job {job.pk}", by=work.person)
    sender = Submission(work.submission, digest, by=work.person, at=at)
    return records.store_for_job(job, entry, sender, transmitter=transmitter)


def _set_aside(work: FieldWork, reasons: list[dict[str, str]], *, by: Person) -> FieldWork:
    work.troubles = reasons
    finish(work, FieldWork.State.SET_ASIDE, None)
    why = " ".join(one["said"] for one in reasons)
    enter("set work aside", on=work, by=by, why=why, details={"job": work.job_id})
    return work


def finish(work: FieldWork, state: str, record: Calibration | None) -> None:
    """Save what became of a work; the caller holds the transaction and writes the ledger."""
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


def _in_words(error: Exception) -> str:
    """Why it could not be stored, in the words of the rule; of the database as little as helps."""
    if isinstance(error, ValidationError):
        return " ".join(error.messages)
    if isinstance(error, Refused):
        return str(error)
    return f"The database refuses it: {str(error).splitlines()[0]}"


# ---- photos ----
def keep_photo(
    submission: uuid.UUID, sha256: str, content: bytes, *, by: Person, at: dt.datetime
) -> bool:
    """Keep a photo of a signed work; True where it is new. Before the content has come any may be
    sent, up to 40. The signature over the content names the photos: no ledger entry of their own.

    Refused: not named in the content, bytes of another hash, over 8 MB or 50 megapixels, no JPEG,
    PNG or WebP.
    """
    work = FieldWork.objects.filter(submission=submission, person=by).first()
    if work is None:
        raise NotSigned
    photo = photos.named_in(work, sha256)
    if FieldPhoto.objects.filter(work=work, sha256=sha256).exists():
        return False
    file = photos.write(photos.encoded(content, sha256))
    row = FieldPhoto(
        work=work,
        sha256=sha256,
        step=photo.step,
        taken_at=photo.taken_at,
        received_at=at,
        stored_as=file.name,
        stored_sha256=file.sha256,
        size=file.size,
    )
    is_new = False
    try:
        is_new = _add_photo(row)
    finally:
        if not is_new:  # nothing names these files
            photos.remove(file.name)
    return is_new


@transaction.atomic
def _add_photo(row: FieldPhoto) -> bool:
    """False where the same came at the same moment."""
    FieldWork.objects.select_for_update(no_key=True).get(pk=row.work_id)
    rows = FieldPhoto.objects.filter(work=row.work_id)
    if rows.filter(sha256=row.sha256).exists():
        return False
    if rows.count() >= MOST_PHOTOS:
        raise Refused(f"A tablet record holds up to {MOST_PHOTOS} photos.")
    row.save()
    return True
