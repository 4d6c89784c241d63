"""A signed work with all that storing it takes, and where the site has changed since the tablet
fetched its jobs. Reads only.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Exists, FilteredRelation, OuterRef, Q
from django.db.models.functions import JSONObject

from calibration.jobs.models import Job
from calibration.procedures.models import ProcedureStep
from calibration.records.entry import RecordEntry
from calibration.records.models import Calibration
from calibration.status.results import CurrentRecord
from calibration.tablet.content import Content, record_entry
from calibration.tablet.days import DayOfWork
from calibration.tablet.models import FieldPhoto, FieldWork
from calibration.tablet.packs import register_columns, register_sha
from calibration.tablet.refusals import NotPublished
from plant.people.models import Appointment
from plant.quantities import day_text
from plant.transmitters.models import Installation, Transmitter


def locked_works(day: dt.date, at: dt.datetime) -> Any:
    """Works with all that storing and answering take, in one query; ``day``: that of their
    transmitter. The work and its job are locked.
    """
    rows: Any = FieldWork.objects.select_for_update(of=("self", "job"))
    return _with_site(_with_job(rows, day), at).select_related(
        "person",
        "job__technician",
        "job__site",
        "job__point__site",
        "job__point__tank__product",
        "installed__transmitter",
    )


def _with_job(rows: Any, day: dt.date) -> Any:
    """The transmitters of the point on that day and now, and the parts that it has been calibrated
    in.
    """
    at_point = Installation.objects.filter(point=OuterRef("job__point"), removed_on=None)
    parts = CurrentRecord.objects.parts().filter(point=OuterRef("job__point"))
    on_day = Q(job__point__installations__installed_on__lte=day) & (
        Q(job__point__installations__removed_on=None)
        | Q(job__point__installations__removed_on__gt=day)
    )
    return rows.annotate(
        installed=FilteredRelation("job__point__installations", condition=on_day),
        present_ids=ArraySubquery(at_point.values("transmitter_id")),
        parts_done=ArraySubquery(parts.packed()),
    )


def _with_site(rows: Any, at: dt.datetime) -> Any:
    """The approvers of the site, the photos that are here, and whether a record is stored."""
    approvers = Appointment.objects.in_force(at.date()).filter(
        site=OuterRef("site"), role="approver", person__is_active=True
    )
    approver = JSONObject(id="person", name="person__name")
    photos = FieldPhoto.objects.filter(work=OuterRef("pk"))
    return rows.annotate(
        approvers=ArraySubquery(approvers.order_by("person__name").values(json=approver)),
        photos_here=ArraySubquery(photos.values("sha256")),
        is_taken=Exists(Calibration.objects.filter(submission=OuterRef("submission"))),
    )


def transmitter_of(work: FieldWork, content: Content, on: dt.date) -> Transmitter | None:
    """The one installed at the point on the day; read with the work where that is the day of the
    content.
    """
    if on == content.done_on:
        installed = getattr(work, "installed", None)
        return installed.transmitter if installed else None
    rows = Installation.objects.on_day(on).filter(point=work.job.point_id)
    row = rows.select_related("transmitter").first()
    return row.transmitter if row else None


def entry_of(content: Content, *, done_on: dt.date) -> RecordEntry:
    """What the record is made of. Refused where a figure cannot be read, or the procedure is not
    published here.
    """
    steps = ProcedureStep.objects.filter(
        version=content.version_id, version__published_on__isnull=False
    ).select_related("version")
    rows = list(steps.order_by("number"))
    if not rows:
        raise NotPublished
    return record_entry(content, rows, done_on=done_on)


def reason(what: str, text: str) -> dict[str, str]:
    """One of the reasons why a work is set aside, as it is stored and sent to the tablet."""
    return {"what": what, "said": text}


def differences(
    work: FieldWork, content: Content, day: DayOfWork, installed: Transmitter | None
) -> list[dict[str, str]]:
    """Where the site has changed since the jobs were fetched; empty where nothing has."""
    job, on = work.job, day_text(day.on)
    # At the site now and on the day, and as the tablet had it: one and the same.
    now: list[int] = work.present_ids  # type: ignore[attr-defined]
    ids = {content.transmitter_id, installed and installed.pk, *now}
    is_stored: bool = work.is_taken  # type: ignore[attr-defined]
    is_register_changed = register_sha(register_columns(job.point, installed)) != (
        content.register_sha
    )
    cases = [
        (
            content.job_id != job.pk,
            "job",
            "The tablet record names another job than the one it was signed for.",
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
        (installed is None, "transmitter", f"No transmitter is registered there on {on}."),
        (
            installed is not None and len(ids) > 1,
            "transmitter",
            f"Another transmitter is installed there by now, or was on {on}.",
        ),
        (
            is_register_changed,
            "register",
            "The register of this point is not as the tablet had it.",
        ),
        (day.is_uncertain, "day", day.said),
        (is_stored, "record", "A record was already stored under this number."),
    ]
    return [reason(what, text) for applies, what, text in cases if applies]
