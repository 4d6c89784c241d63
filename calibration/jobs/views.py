"""Jobs: what is planned for the technician, and one job with all it takes to do it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Case, Exists, IntegerField, OuterRef, Q, QuerySet, Subquery, When
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from calibration.jobs import acts
from calibration.jobs.forms import HandOverForm
from calibration.jobs.models import Job
from calibration.jobs.reads import transmitter_at, versions_for
from calibration.pages import require_sight
from calibration.procedures.models import ProcedureStep, ProcedureVersion, SiteWording
from calibration.records.models import Calibration
from calibration.tablet.models import FieldWork
from plant.ledger.models import LedgerEntry
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed, Refused
from plant.transmitters.models import Installation, Transmitter

SHOWN_OF_JOB = ("site", "point__tank__area", "point__tank__product", "technician", "round")

ROWS = 50

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


@require_safe
def jobs(request: SignedRequest) -> HttpResponse:
    """My jobs, returned ones on top with the reason; then the other open jobs of my sites, tank by
    tank.
    """
    require_sight(request.user)
    seen = Job.objects.seen_by(request.user).select_related(
        "site", "point__tank__area", "technician"
    )
    if text := request.GET.get("q", "").strip():
        installed = Installation.objects.filter(
            point=OuterRef("point"), removed_on=None, transmitter__serial__icontains=text
        )
        seen = seen.filter(
            Q(point__tag__icontains=text) | Q(point__tank__name__icontains=text) | Exists(installed)
        )
    waiting = (*Job.OPEN, Job.State.SUBMITTED)
    mine = seen.filter(technician=request.user, state__in=waiting).annotate(urgency=URGENCY)
    mine = mine.annotate(return_reason=Subquery(_returns().values("return_reason")[:1]))
    others = seen.open().exclude(technician=request.user)
    others = others.order_by(*PLACE)
    page = Paginator(others, ROWS).get_page(request.GET.get("page"))
    rows = {
        "mine": _by_day(_with_due(mine.order_by("urgency", *PLACE)[:MINE])),
        "others": _with_due(page.object_list),
    }
    context = {
        **rows,
        "page": page,
        "text": text,
        "plant": FieldWork.objects.waiting_for(request.user),
    }
    return render(request, "calibration/jobs/job_list.html", context)


@require_safe
def job(request: SignedRequest, pk: int) -> HttpResponse:
    """One job: cautions, steps, its last result, what became of it so far."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related(*SHOWN_OF_JOB), pk=pk)
    transmitter = transmitter_at(job.point)
    version, _ = versions_for(job.point, transmitter)
    can_calibrate = may(request.user, "calibrate", job.site_id)
    return render(
        request,
        "calibration/jobs/job.html",
        {
            "job": job,
            "point": job.point,
            "transmitter": transmitter,
            "due": job.point.state(job.site.day_of(timezone.now())),
            "version": version,
            "steps": _worded_steps(version, job, transmitter) if version else [],
            "last": Calibration.objects.latest_of(job.point),
            "sent": list(job.records.order_by("-id")),
            "works": _works_of(job, request.user),
            "history": LedgerEntry.objects.filter(subject_kind="job", subject_id=job.pk)[:50],
            "can_calibrate": can_calibrate and job.state in Job.OPEN,
            "is_mine": job.technician_id == request.user.pk,
            "can_hand_over": job.state in Job.OPEN and may(request.user, "plan", job.site_id),
        },
    )


@form_page
def hand_over(request: SignedRequest, pk: int) -> HttpResponse:
    """Give an open job to another technician of its site."""
    seen = Job.objects.seen_by(request.user).select_related("site", "point", "technician")
    job = get_object_or_404(seen, pk=pk)
    require(request.user, "plan", job.site_id)
    today = job.site.day_of(timezone.now())
    form = HandOverForm(sent(request), site=job.site, on=today)

    def done() -> Job:
        typed = form.cleaned_data
        return acts.hand_over(job, to=typed["technician"], why=typed["why"], by=request.user)

    if accepted(form, done):
        return redirect(job)
    return page(request, "calibration/jobs/hand_over.html", form, job=job)


@require_POST
def start(request: SignedRequest, pk: int) -> HttpResponse:
    """Take the point's job in hand, or make one, and go to the form."""
    point = get_object_or_404(MeasuringPoint.objects.seen_by(request.user), pk=pk)
    try:
        job = acts.start(point, by=request.user)
    except NotAllowed:
        raise
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect(point)
    return redirect("calibration:calibrate", pk=job.pk)


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


def _returns() -> QuerySet:
    """Returned records of a job, the latest first; to be joined by the job."""
    return Calibration.objects.filter(
        job=OuterRef("pk"), state=Calibration.State.RETURNED
    ).order_by("-id")


def _by_day(mine: list[Job]) -> list[tuple[str, list[Job]]]:
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


def _with_due(rows: Any) -> list[Job]:
    """Each job with the state of its point's due date on its site's day."""
    now, jobs_shown = timezone.now(), list(rows)
    days: dict[int, dt.date] = {}
    for job in jobs_shown:
        day = days.setdefault(job.site_id, job.site.day_of(now))
        job.due = job.point.state(day)
    return jobs_shown
