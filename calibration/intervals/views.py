from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from calibration.intervals import acts as intervals
from calibration.intervals.forms import IntervalForm
from calibration.intervals.models import Proposal
from calibration.intervals.tables import KNOWN, ProposalRow, rows_with
from plant.pages.requests import SignedRequest
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.templatetags.quantities import day


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: SignedRequest, pk: int) -> HttpResponse:
    """Change a point's recalibration interval."""
    point = get_object_or_404(MeasuringPoint.objects.seen_by(request.user), pk=pk)
    require(request.user, "set interval", point.site_id)
    form = IntervalForm(request.POST) if request.method == "POST" else IntervalForm.of(point)
    if form.is_bound and form.is_valid():
        try:
            point = intervals.change(point, **form.cleaned_data, by=request.user)
            messages.success(request, f"{point.tag} is now due on {day(point.due_on)}.")
            return redirect(point)
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    status = 422 if form.is_bound else 200
    context = {"point": point, "form": form, "row": _proposed(request, point)}
    return render(request, "calibration/intervals/interval.html", context, status=status)


def _proposed(request: SignedRequest, point: MeasuringPoint) -> ProposalRow | None:
    """What waits for the point, with its reasons."""
    waiting = Proposal.objects.filter(point=point, state__in=Proposal.WAITING)
    rows = rows_with(waiting.select_related(*KNOWN), by=request.user, at=timezone.now())
    return rows[0] if rows else None
