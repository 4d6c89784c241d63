"""The list of jobs: what each person looks at first."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Case, Exists, IntegerField, OuterRef, Q, QuerySet, Subquery, When
from django.utils import timezone

from calibration.jobs.models import Job, JobQuerySet
from calibration.records.models import Calibration
from plant.people.models import Person
from plant.transmitters.models import Installation

PLACE = ("site__name", "point__tank__area__name", "point__tank__name_key", "point__tag_key")


MINE = 200  # jobs of one person; what must be looked at first is never left out


URGENCY = Case(
    When(state="returned", then=0),
    When(state="in hand", then=1),
    When(state="planned", then=2),
    default=3,
    output_field=IntegerField(),
)


RETURNED, TODAY, LATER, SENT = (
    "To do again",
    "Today",
    "Later, or without a day",
    "Sent, waiting for approval",
)


def jobs_with(text: str, *, seen_by: Person) -> JobQuerySet:
    """Jobs of the person's sites; with a text, those whose tag, tank or serial number has it."""
    seen = Job.objects.seen_by(seen_by).select_related("site", "point__tank__area", "technician")
    if not text:
        return seen
    installed = Installation.objects.filter(
        point=OuterRef("point"), removed_on=None, transmitter__serial__icontains=text
    )
    return seen.filter(
        Q(point__tag__icontains=text) | Q(point__tank__name__icontains=text) | Exists(installed)
    )


def mine_of(seen: JobQuerySet, person: Person) -> list[Job]:
    """The person's jobs that are not done, returned ones first and with the reason."""
    mine = seen.filter(technician=person, state__in=(*Job.OPEN, Job.State.SUBMITTED))
    reason = Subquery(_returns().values("return_reason")[:1])
    mine = mine.annotate(urgency=URGENCY, return_reason=reason)
    return with_due(mine.order_by("urgency", *PLACE)[:MINE])


def others_of(seen: JobQuerySet, person: Person) -> JobQuerySet:
    """Open jobs of others and of nobody, tank by tank."""
    return seen.open().exclude(technician=person).order_by(*PLACE)


def _returns() -> QuerySet:
    """Returned records of a job, the latest first; to be joined by the job."""
    return Calibration.objects.filter(
        job=OuterRef("pk"), state=Calibration.State.RETURNED
    ).order_by("-id")


def by_day(mine: list[Job]) -> list[tuple[str, list[Job]]]:
    """My jobs in the order in which they are looked for; within each part by area and tank, as they
    come.
    """
    parts: dict[str, list[Job]] = {RETURNED: [], TODAY: [], LATER: [], SENT: []}
    now = timezone.now()
    for job in mine:
        if job.state == Job.State.RETURNED:
            part = RETURNED
        elif job.state == Job.State.SUBMITTED:
            part = SENT
        elif job.state == Job.State.IN_HAND or (
            job.planned_on and job.planned_on <= job.site.day_of(now)
        ):
            part = TODAY
        else:
            part = LATER
        parts[part].append(job)
    return [(title, rows) for title, rows in parts.items() if rows]


def with_due(rows: Any) -> list[Job]:
    """Each job with the status of its point on its site's day."""
    now, jobs_shown = timezone.now(), list(rows)
    days: dict[int, dt.date] = {}
    for job in jobs_shown:
        day = days.setdefault(job.site_id, job.site.day_of(now))
        job.due = job.point.status(day)
    return jobs_shown
