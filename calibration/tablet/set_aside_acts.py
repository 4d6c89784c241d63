"""Settling a work that was set aside: as a record after all, or kept without one. Never dropped."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from calibration.jobs.models import Job
from calibration.records.acts import ledger_details
from calibration.records.devices import was_there
from calibration.records.models import Calibration
from calibration.tablet.acts import finish, store_record
from calibration.tablet.content import Content, read
from calibration.tablet.models import FieldWork
from calibration.tablet.refusals import (
    AlreadySettled,
    NoReason,
    OtherTransmitter,
    OwnWork,
    RecordWaiting,
    Unreadable,
)
from calibration.tablet.works import locked_works, transmitter_of
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused


@transaction.atomic
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
    own work, for a work settled already, where the transmitter that was read was not there on
    ``done_on``, and for whatever a record is refused.
    """
    require(by, "settle work", work.site_id)
    if not why.strip():
        raise NoReason
    content = _readable(FieldWork.objects.get(pk=work.pk).content)
    work = locked_works(content.done_on if content else at.date(), at).get(pk=work.pk)
    if work.state != FieldWork.State.SET_ASIDE:
        raise AlreadySettled(work)
    if work.person_id == by.pk:
        raise OwnWork
    work.settled_by, work.settled_at, work.settled_why = by, at, why.strip()
    record = _record(work, content, done_on, at=at) if as_record else None
    finish(work, FieldWork.State.STORED if record else FieldWork.State.SETTLED, record)
    enter("settle work", on=work, by=by, why=why, details=_details(work, record))
    return work


def _details(work: FieldWork, record: Calibration | None) -> dict[str, Any]:
    details = {"work": work.pk, "signed by": work.person.name, "job": work.job_id}
    if record is None:
        return details | {"kept": "without a record"}
    return details | ledger_details(record) | {"record": record.pk, "its job": record.job_id}


def _readable(text: str) -> Content | None:
    try:
        return read(text)
    except Refused:
        return None


def _record(
    work: FieldWork, content: Content | None, done_on: dt.date | None, *, at: dt.datetime
) -> Calibration:
    if content is None:
        raise Unreadable
    day = done_on or content.done_on
    transmitter = was_there(work.job.point_id, content.transmitter_id, day)
    if transmitter is None:
        installed = transmitter_of(work, content, day)
        raise OtherTransmitter(content.register.get("serial") or "", installed, day)
    return store_record(work, content, _job_for(work), transmitter, done_on=day, at=at)


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
        raise RecordWaiting(work.job.point.tag)
    return job or _new_job(work)


def _new_job(work: FieldWork) -> Job:
    point = work.job.point
    return Job.objects.create(
        site_id=work.site_id,
        point=point,
        due_on=point.due_on,
        technician=work.person,
        state=Job.State.IN_HAND,
        why=Job.Why.REQUEST,
    )
