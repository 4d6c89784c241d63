"""Which rows wait for a person at the sites where they hold a role; one table a question."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Exists, Model, OuterRef, Q, QuerySet

from calibration.due.reads import without_a_job
from calibration.jobs.models import Job
from calibration.reminders.models import Digest
from calibration.standards.cover import NOTICE_DAYS
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.people.models import Appointment, Person
from plant.points.models import MeasuringPoint
from plant.points.querysets import PointQuerySet
from plant.points.status import BY_CALENDAR, SOON_DAYS


@dataclass(frozen=True)
class Asker:
    """Who asks, of which sites. days: by each site's own calendar; since: the last visit."""

    person: Person
    sites: list[int]
    days: Mapping[int, dt.date]
    now: dt.datetime
    since: dt.datetime

    def on_its_day(self, condition: Callable[[dt.date], Q]) -> Q:
        """The condition with each site's own day; there are at most three at once on the globe."""
        sites = sorted(self.sites, key=self.days.__getitem__)
        each = Q(pk__in=[])
        for day, group in groupby(sites, key=self.days.__getitem__):
            each |= Q(site_id__in=list(group)) & condition(day)
        return each


Question = Callable[[Asker], QuerySet]


def rows(model: type[Model], **narrowed: Any) -> Question:
    """The rows of the sites asked that meet the conditions."""
    objects = model._default_manager
    return lambda asker: objects.filter(site__in=asker.sites, **narrowed)


def by_others(question: Question, name: str) -> Question:
    """Those that somebody else did: nobody decides on their own."""
    return lambda asker: question(asker).filter(~Q(**{name: asker.person}) | Q(**{name: None}))


def of_mine(question: Question, name: str) -> Question:
    return lambda asker: question(asker).filter(**{name: asker.person})


def since_last_visit(question: Question, name: str) -> Question:
    return lambda asker: question(asker).filter(**{f"{name}__gte": asker.since})


# ---- points ----
def points(asker: Asker) -> PointQuerySet:
    return MeasuringPoint.objects.in_service().filter(site__in=asker.sites)


def in_state(state: str) -> Question:
    """Points of a status that no calendar decides."""
    return lambda asker: points(asker).in_state(state, on=asker.now.date())


def points_without_a_job(asker: Asker) -> QuerySet:
    return without_a_job(points(asker))


def overdue(asker: Asker) -> QuerySet:
    """By the calendar, where nothing is known against the reading: as the due list has it."""
    late = asker.on_its_day(lambda day: Q(next_due__lt=day))
    return points(asker).filter(late, condition=BY_CALENDAR)


# ---- jobs, standards ----
def jobs_today(asker: Asker) -> QuerySet:
    """The person's jobs in hand, and those planned whose day has come, as the list of jobs has
    them.
    """
    come = asker.on_its_day(lambda day: Q(state=Job.State.PLANNED, planned_on__lte=day))
    in_hand = Q(state=Job.State.IN_HAND, site__in=asker.sites)
    return Job.objects.filter(come | in_hand, technician=asker.person)


def lapsing(asker: Asker) -> QuerySet:
    """Standards in use whose certificate has lapsed, or will before a laboratory can renew it."""
    certificates = StandardCertificate.objects.filter(standard=OuterRef("pk"))
    in_use = ReferenceStandard.objects.filter(site__in=asker.sites, withdrawn_on=None)
    notice = dt.timedelta(NOTICE_DAYS)
    ends = asker.on_its_day(lambda day: ~Q(Exists(certificates.covering(day + notice))))
    return in_use.filter(ends, Exists(certificates))


# ---- accounts, mail ----
def ending_roles(asker: Asker) -> QuerySet:
    return _appointments(asker).filter(ends_on__lte=asker.now.date() + dt.timedelta(SOON_DAYS))


def never_signed_in(asker: Asker) -> QuerySet:
    return _appointments(asker).filter(person__last_login=None)


def _appointments(asker: Asker) -> QuerySet:
    in_force = Appointment.objects.in_force(asker.now.date())
    return in_force.filter(site__in=asker.sites, person__is_active=True)


def unsent_mails(asker: Asker) -> QuerySet:
    return Digest.objects.stuck(at=asker.now).filter(site__in=asker.sites)
