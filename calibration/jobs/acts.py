"""Jobs: planned, taken in hand, handed to another, cancelled. A record's submission and approval
move them on.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from calibration.jobs.models import Job
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.saving import check


@transaction.atomic
def plan(
    point: MeasuringPoint,
    *,
    why: str = Job.Why.INTERVAL,
    technician: Person | None,
    planned_on: dt.date | None = None,
    round_id: int | None = None,
    stop_number: int | None = None,
    note: str = "",
    by: Person,
) -> Job:
    """Make a job for ``point``, or take its planned one and change it to these.

    Refused when the point's open job is already in hand or submitted, or when the technician cannot
    calibrate at the site.
    """
    require(by, "plan", point.site_id)
    _may_calibrate(technician, point.site_id)
    # The point first, as everywhere: its status may move with the job.
    MeasuringPoint.objects.select_for_update().get(pk=point.pk)
    job = _open_job(point)
    if job and job.state != Job.State.PLANNED:
        raise Refused(
            f"{point.tag} already has a job that is {job.get_state_display()}; finish or cancel it "
            "first."
        )
    job = job or Job(site_id=point.site_id, point=point, due_on=point.due_on, why=why)
    if not job.is_demand:  # what speaks against the reading is not planned away
        job.why = why
    job.technician, job.planned_on, job.note = technician, planned_on, note
    job.round_id, job.stop_number = round_id, stop_number
    check(job)
    job.save()
    enter("plan job", on=job, by=by, why=note, details=_details(job))
    return job


@transaction.atomic
def start(point: MeasuringPoint, *, by: Person, why: str = Job.Why.INTERVAL) -> Job:
    """Take the point's open job in hand, or make one: a technician at the tank need not wait for a
    plan.
    """
    require(by, "calibrate", point.site_id)
    MeasuringPoint.objects.select_for_update().get(pk=point.pk)  # two starts at once make one job
    job = _open_job(point)
    if job:
        _check_free(job, by)
    if job and job.state == Job.State.IN_HAND and job.technician_id == by.pk:
        return job
    job = job or Job(site_id=point.site_id, point=point, due_on=point.due_on, why=why)
    job.technician = by
    if job.state != Job.State.RETURNED:
        job.state = Job.State.IN_HAND
    check(job)
    job.save()
    enter("take job", on=job, by=by, details=_details(job))
    return job


@transaction.atomic
def hand_over(job: Job, *, to: Person, by: Person, why: str = "") -> Job:
    """Give an open job to another technician."""
    require(by, "plan", job.site_id)
    _may_calibrate(to, job.site_id)
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state not in Job.OPEN:
        raise Refused(
            f"The job of {job.point.tag} is {job.state}; only an open job can be handed over."
        )
    before = str(job.technician or "nobody")
    job.technician = to
    job.save(update_fields=["technician"])
    enter("hand over job", on=job, by=by, why=why, details={"from": before, "to": str(to)})
    return job


@transaction.atomic
def cancel(job: Job, *, by: Person, why: str) -> Job:
    """Cancel an open job, with the reason; its place in a round becomes free. Where something
    speaks against the reading, an approver cancels it: the reason stands in the ledger as theirs.
    """
    require(by, job.right_to_cancel, job.site_id)
    if not why.strip():
        raise Refused("Say why the job is cancelled.", field="why")
    MeasuringPoint.objects.select_for_update().get(pk=job.point_id)
    job = Job.objects.select_for_update().get(pk=job.pk)
    require(by, job.right_to_cancel, job.site_id)
    if job.state not in Job.OPEN:
        raise Refused(
            f"The job of {job.point.tag} is {job.state}; only an open job can be cancelled."
        )
    job.state, job.round, job.stop_number = Job.State.CANCELLED, None, None
    job.save()
    enter("cancel job", on=job, by=by, why=why, details=_details(job))
    return job


def _open_job(point: MeasuringPoint) -> Job | None:
    states = (*Job.OPEN, Job.State.SUBMITTED)
    return Job.objects.select_for_update().filter(point=point, state__in=states).first()


def _check_free(job: Job, by: Person) -> None:
    """Refuse a job that waits for its approval, or that another technician has in hand."""
    tag = job.point.tag
    if job.state == Job.State.SUBMITTED:
        raise Refused(
            f"{tag} has a record waiting for approval; it must be approved or returned first."
        )
    if job.state == Job.State.IN_HAND and job.technician_id not in (None, by.pk):
        raise Refused(
            f"{job.technician} has {tag} in hand. Ask them, or let a planner hand it over.",
            field="technician",
        )


def _may_calibrate(technician: Person | None, site_id: int) -> None:
    if technician is not None and not may(technician, "calibrate", site_id):
        raise Refused(
            f"{technician} is no technician at this site; choose another.", field="technician"
        )


def _details(job: Job) -> dict[str, str]:
    return {
        "tag": job.point.tag,
        "why": job.why,
        "state": job.state,
        "technician": str(job.technician or ""),
        "planned for": str(job.planned_on or ""),
    }
