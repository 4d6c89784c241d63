"""Works that were set aside, settled by a person: as a record after all, or kept without one. Never
dropped.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from calibration.jobs.models import Job
from calibration.records import acts as records
from calibration.records.models import Calibration
from calibration.tablet.acts import State, finish, take_in, transmitter_of, with_all
from calibration.tablet.content import Content, read
from calibration.tablet.models import FieldWork
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.quantities import day_text
from plant.refusals import Refused


def settle(
    work: FieldWork,
    *,
    as_record: bool,
    done_on: dt.date | None = None,
    why: str,
    by: Person,
    at: dt.datetime,
) -> FieldWork:
    """Settle a work that was set aside: as the record of its job after all, or kept without one.
    With a reason.

    As a record it is judged by today's register, and its performer stays the one who signed. Where
    its own job is closed it goes to the open job of the point, or to a new one. Refused for one's
    own work, for a work settled already, where another transmitter was read than hung there on
    ``done_on``, and for whatever a record is refused.
    """
    require(by, "settle work", work.site_id)
    if not why.strip():
        raise Refused("Say why it is settled so: an auditor will ask.", field="why")
    with transaction.atomic():
        content = _readable(FieldWork.objects.get(pk=work.pk).content)
        day = done_on or (content.done_on if content else None)
        work = with_all(content.done_on if content else at.date(), at).get(pk=work.pk)
        if work.state != State.SET_ASIDE:
            raise Refused(f"Somebody was quicker: this work is {work.get_state_display()}.")
        if work.person_id == by.pk:
            raise Refused("Nobody settles their own work; ask another planner or approver.")
        work.settled_by, work.settled_at, work.settled_why = by, at, why.strip()
        record = None
        if as_record:
            record = _settled_record(work, content, day, at=at)
        finish(work, State.STORED if record else State.SETTLED, record)
        details: dict[str, Any] = {
            "work": work.pk,
            "signed by": work.person.name,
            "job": work.job_id,
        }
        if record:
            details |= records.ledger_details(record) | {
                "record": record.pk,
                "its job": record.job_id,
            }
        else:
            details["kept"] = "without a record"
        enter("settle work", on=work, by=by, why=why, details=details)
    return work


def _readable(text: str) -> Content | None:
    try:
        return read(text)
    except Refused:
        return None


def _settled_record(
    work: FieldWork, content: Content | None, day: dt.date | None, *, at: dt.datetime
) -> Calibration:
    if content is None or day is None:
        raise Refused(
            "Its content cannot be read, so no record can be made of it. Keep it without a record."
        )
    hung = transmitter_of(work, content, day)
    if hung is None or hung.pk != content.transmitter_id:
        serial = content.register.get("serial") or "another transmitter"
        raise Refused(
            f"{serial} was read, but {hung or 'no transmitter'} hung there on {day_text(day)} by "
            "the register. "
            "Correct the installation first, or keep the work without a record."
        )
    job = _job_for(work)
    return take_in(work, content, job, hung, done_on=day, at=at)


def _job_for(work: FieldWork) -> Job:
    """The work's own job while it is open; else the point's open job, or a new one in the
    performer's hand.
    """
    if work.job.state in Job.OPEN:
        return work.job
    waiting = (*Job.OPEN, Job.State.SUBMITTED)
    rows = Job.objects.select_for_update(of=("self",)).filter(
        point=work.job.point_id, state__in=waiting
    )
    job = rows.select_related("point__tank__product", "point__site", "site").first()
    if job and job.state == Job.State.SUBMITTED:
        raise Refused(
            f"Another record of {work.job.point.tag} waits for approval. Let it be approved or "
            "returned first."
        )
    if job is None:
        point = work.job.point
        job = Job.objects.create(
            site_id=work.site_id,
            point=point,
            due_on=point.due_on,
            technician=work.person,
            state=Job.State.IN_HAND,
            why=Job.Why.REQUEST,
        )
    return job
