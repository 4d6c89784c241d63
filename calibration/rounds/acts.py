"""Rounds: which points a technician visits in which order on which days. The stops of a round are
its jobs.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.db.models import Max

from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.rounds.models import Round
from calibration.rounds.refusals import (
    DaysReversed,
    NoName,
    NoPoints,
    NoTechnician,
    NothingNew,
    NotPlanned,
    PointsInTheWay,
    SeveralSites,
    StopRemoved,
)
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint


@transaction.atomic
def plan(
    points: Iterable[MeasuringPoint],
    *,
    name: str,
    starts_on: dt.date,
    ends_on: dt.date,
    technician: Person,
    note: str = "",
    by: Person,
    at: dt.datetime,
) -> Round:
    """Make a round with one stop a point, ordered by area, tank and tag.

    Refused, naming every tag in the way, where a point already has a job in hand or sent, stands in
    another round or is out of service; and where the points belong to more than one site.
    """
    ids = sorted({point.pk for point in points})
    if not ids:
        raise NoPoints()
    chosen = _in_walking_order(ids)
    sites = {point.site_id for point in chosen}
    if len(sites) > 1:
        raise SeveralSites()
    made = Round(
        site_id=sites.pop(),
        name=name.strip(),
        starts_on=starts_on,
        ends_on=ends_on,
        technician=technician,
        planned_by=by,
        planned_at=at,
        note=note.strip(),
    )
    require(by, "plan", made.site_id)
    _check_plan(made)
    made.save()
    _append(made, chosen, by=by)
    enter("plan round", on=made, by=by, why=made.note, details=_details(made, chosen))
    return made


@transaction.atomic
def add(made: Round, points: Iterable[MeasuringPoint], *, by: Person) -> Round:
    """Append stops after the last one."""
    require(by, "plan", made.site_id)
    made = _locked(made)
    ids = {point.pk for point in points}
    here = set(made.stops.values_list("point_id", flat=True))
    chosen = _in_walking_order(ids - here)
    if not chosen:
        raise NothingNew()
    if any(point.site_id != made.site_id for point in chosen):
        raise SeveralSites()
    _append(made, chosen, by=by)
    enter("add stops", on=made, by=by, details=_details(made, chosen))
    return made


@transaction.atomic
def move(stop: Job, *, up: bool, by: Person) -> Job:
    """Change places with the stop before (``up``) or after; at either end nothing moves."""
    made = _round_of(stop, by=by)
    stops = list(made.stops.select_for_update().order_by("stop_number"))
    here = next((n for n, other in enumerate(stops) if other.pk == stop.pk), None)
    if here is None:
        raise StopRemoved(tag=stop.point.tag)
    there = here - 1 if up else here + 1
    if not 0 <= there < len(stops):
        return stop
    one, other = stops[here], stops[there]
    places = one.stop_number, other.stop_number
    # A place holds one job at any time, so one of the two steps aside first.
    for job, place in ((one, _last_place(made) + 1), (other, places[0]), (one, places[1])):
        job.stop_number = place
        job.save(update_fields=["stop_number"])
    enter("move stop", on=made, by=by, details={"tag": one.point.tag, "to stop": there + 1})
    return one


@transaction.atomic
def remove(stop: Job, *, by: Person) -> None:
    """Take a planned stop out. A job that only this round asked for is cancelled; one with another
    cause stays open.
    """
    made = _round_of(stop, by=by)
    # The point first, as everywhere: who starts its job at the same moment waits.
    MeasuringPoint.objects.select_for_update().get(pk=stop.point_id)
    stop = Job.objects.select_for_update(of=("self",)).select_related("point").get(pk=stop.pk)
    tag = stop.point.tag
    if stop.round_id != made.pk:
        raise StopRemoved(tag=tag)
    if stop.state != Job.State.PLANNED:
        raise NotPlanned(tag=tag, state=stop.state)
    if not stop.is_demand:
        stop.state = Job.State.CANCELLED
    stop.round = stop.stop_number = stop.planned_on = stop.technician = None
    stop.save()
    enter(
        "take out stop", on=made, by=by, details={"tag": tag, "job": stop.pk, "job is": stop.state}
    )


@transaction.atomic
def change(
    made: Round,
    *,
    name: str,
    starts_on: dt.date,
    ends_on: dt.date,
    technician: Person,
    note: str = "",
    by: Person,
) -> Round:
    """Change name, days, technician or note. Planned stops follow; a stop already in hand stays
    with who has it.
    """
    require(by, "plan", made.site_id)
    made = _locked(made)
    made.name, made.note = name.strip(), note.strip()
    made.starts_on, made.ends_on, made.technician = starts_on, ends_on, technician
    _check_plan(made)
    made.save()
    moved = made.stops.filter(state=Job.State.PLANNED).update(
        technician=technician, planned_on=starts_on
    )
    enter("change round", on=made, by=by, details={**_details(made), "stops that follow": moved})
    return made


def _append(made: Round, points: list[MeasuringPoint], *, by: Person) -> None:
    """One job a point; a planned job is taken with its own cause and note."""
    planned = _planned_jobs(points)
    for place, point in enumerate(points, _last_place(made) + 1):
        job = planned.get(point.pk)
        jobs.plan(
            point,
            why=job.why if job else Job.Why.INTERVAL,
            note=job.note if job else "",
            technician=made.technician,
            planned_on=made.starts_on,
            round_id=made.pk,
            stop_number=place,
            by=by,
        )


def _planned_jobs(points: list[MeasuringPoint]) -> dict[int, Job]:
    """Open jobs that a round may take, by point; refuses all points in the way at once."""
    in_the_way = [f"{point.tag} is out of service" for point in points if point.out_of_service_on]
    free = {}
    states = (*Job.OPEN, Job.State.SUBMITTED)
    taken = Job.objects.filter(point__in=points, state__in=states).select_related("point", "round")
    for job in taken.order_by("point__tag_key"):
        if job.state != Job.State.PLANNED:
            in_the_way.append(f"{job.point.tag} has a job that is {job.state}")
        elif job.round:
            in_the_way.append(f"{job.point.tag} is a stop of “{job.round}”")
        else:
            free[job.point_id] = job
    if in_the_way:
        raise PointsInTheWay(in_the_way)
    return free


def _in_walking_order(ids: Iterable[int]) -> list[MeasuringPoint]:
    """The points, locked against another round, by area, tank and tag: one tank is visited once."""
    points = MeasuringPoint.objects.filter(pk__in=ids).select_related("tank__area")
    locked = list(points.select_for_update(of=("self",)).order_by("pk"))
    return sorted(
        locked, key=lambda point: (point.tank.area.name, point.tank.name_key, point.tag_key)
    )


def _round_of(stop: Job, *, by: Person) -> Round:
    require(by, "plan", stop.site_id)
    if stop.round is None:
        raise StopRemoved(tag=stop.point.tag)
    return _locked(stop.round)


def _locked(made: Round) -> Round:
    return Round.objects.select_for_update().get(pk=made.pk)


def _last_place(made: Round) -> int:
    return made.stops.aggregate(last=Max("stop_number"))["last"] or 0


def _check_plan(made: Round) -> None:
    if not made.name:
        raise NoName()
    if made.ends_on < made.starts_on:
        raise DaysReversed()
    if not may(made.technician, "calibrate", made.site_id):
        raise NoTechnician(person=made.technician)


def _details(made: Round, points: Iterable[MeasuringPoint] = ()) -> dict[str, object]:
    details: dict[str, object] = {
        "days": f"{made.starts_on} to {made.ends_on}",
        "technician": str(made.technician),
    }
    tags = [point.tag for point in points]
    return {**details, "stops": tags} if tags else details
