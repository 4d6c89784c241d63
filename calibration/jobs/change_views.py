"""A job handed over, cancelled or begun."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from calibration.jobs import acts
from calibration.jobs.forms import CancelForm, HandOverForm
from calibration.jobs.models import Job
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed, Refused


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
    require(request.user, job.right_to_cancel, job.site_id)
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
