from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from calibration.forms.intervals import IntervalForm
from calibration.operations import intervals
from plant.models import MeasuringPoint
from plant.permissions import require
from plant.refusals import Refused
from plant.requests import SignedRequest
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
    return render(
        request, "calibration/interval.html", {"point": point, "form": form}, status=status
    )
