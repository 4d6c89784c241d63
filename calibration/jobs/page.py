"""What the page of one job shows."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from calibration.jobs.models import Job
from calibration.jobs.reads import transmitter_at, versions_for
from calibration.procedures.models import ProcedureStep, ProcedureVersion, SiteWording
from calibration.records.models import Calibration
from calibration.tablet.models import FieldWork
from plant.ledger.models import LedgerEntry
from plant.people.models import Person
from plant.transmitters.models import Transmitter

SHOWN_OF_JOB = ("site", "point__tank__area", "point__tank__product", "technician", "round")


def job_context(job: Job, *, seen_by: Person) -> dict[str, Any]:
    """The job with its point, transmitter, steps, last result and works from the plant."""
    transmitter = transmitter_at(job.point)
    version, _ = versions_for(job.point, transmitter)
    return {
        "job": job,
        "point": job.point,
        "transmitter": transmitter,
        "due": job.point.status(job.site.day_of(timezone.now())),
        "version": version,
        "steps": _worded_steps(version, job, transmitter) if version else [],
        "last": Calibration.objects.latest_of(job.point),
        "sent": list(job.records.order_by("-id")),
        "works": _works_of(job, seen_by),
        "history": LedgerEntry.objects.filter(subject_kind="job", subject_id=job.pk)[:50],
    }


def _worded_steps(
    version: ProcedureVersion, job: Job, transmitter: Transmitter | None
) -> list[ProcedureStep]:
    """The procedure's steps, each with what the job's site words beside it for this transmitter."""
    beside = SiteWording.objects.beside(
        version.procedure, site_id=job.site_id, transmitter=transmitter
    )
    steps = list(version.steps.all())
    for step in steps:
        step.worded = beside.get(step.key, []) if step.key else []  # type: ignore[attr-defined]
    return steps


def _works_of(job: Job, person: Person) -> list[FieldWork]:
    """Works from the plant that have not become a record: on their way, set aside, or kept without
    one.
    """
    works = job.field_works.exclude(state=FieldWork.State.STORED).defer("content")
    may_see_all = job.site_id in person.site_ids("read ledger")
    rows = list(works.select_related("person"))
    return [work for work in rows if may_see_all or work.person_id == person.pk]
