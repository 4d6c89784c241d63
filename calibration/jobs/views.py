"""Jobs: what is planned for the technician, and one job with all it takes to do it."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from calibration.jobs import acts
from calibration.jobs.forms import CancelForm, HandOverForm
from calibration.jobs.list_page import by_day, jobs_with, mine_of, others_of, with_due
from calibration.jobs.models import Job
from calibration.jobs.page import SHOWN_OF_JOB, job_context
from calibration.pages import require_sight
from calibration.tablet.models import FieldWork
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed, Refused

ROWS = 50


@require_safe
def jobs(request: SignedRequest) -> HttpResponse:
    """My jobs, returned ones on top with the reason; then the other open jobs of my sites, tank by
    tank.
    """
    require_sight(request.user)
    text = request.GET.get("q", "").strip()
    seen = jobs_with(text, seen_by=request.user)
    page = Paginator(others_of(seen, request.user), ROWS).get_page(request.GET.get("page"))
    context = {
        "mine": by_day(mine_of(seen, request.user)),
        "others": with_due(page.object_list),
        "page": page,
        "text": text,
        "plant": FieldWork.objects.waiting_for(request.user),
    }
    return render(request, "calibration/jobs/job_list.html", context)


@require_safe
def job(request: SignedRequest, pk: int) -> HttpResponse:
    """One job: cautions, steps, its last result, what became of it so far."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related(*SHOWN_OF_JOB), pk=pk)
    is_open = job.state in Job.OPEN
    rights = {
        "can_calibrate": is_open and may(request.user, "calibrate", job.site_id),
        "is_mine": job.technician_id == request.user.pk,
        "can_hand_over": is_open and may(request.user, "plan", job.site_id),
        "can_cancel": is_open
        and may(request.user, "approve" if job.is_demand else "plan", job.site_id),
    }
    context = job_context(job, seen_by=request.user) | rights
    return render(request, "calibration/jobs/job.html", context)


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


@form_page
def cancel(request: SignedRequest, pk: int) -> HttpResponse:
    """Cancel an open job; one that something known asked for is an approver's to cancel."""
    seen = Job.objects.seen_by(request.user).select_related("site", "point", "technician")
    job = get_object_or_404(seen, pk=pk)
    require(request.user, "approve" if job.is_demand else "plan", job.site_id)
    form = CancelForm(sent(request))
    if accepted(form, lambda: acts.cancel(job, why=form.cleaned_data["why"], by=request.user)):
        return redirect(job)
    return page(request, "calibration/jobs/cancel.html", form, job=job)


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
