"""A reason of a point's status, and its closing by an approver."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone

from calibration.status import acts
from calibration.status.forms import ClosingForm
from calibration.status.models import ReasonClosing
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent
from plant.people.permissions import require
from plant.points.models import MeasuringPoint


@form_page
def close(request: SignedRequest, pk: int, kind: str, of: int) -> HttpResponse:
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site", "tank")
    point = get_object_or_404(points, pk=pk)
    require(request.user, "approve", point.site_id)
    now = timezone.now()
    status = point.status(point.site.day_of(now))
    reason = next((each for each in status.reasons if each.key == f"{kind} {of}"), None)
    if kind not in ReasonClosing.Kind.values or reason is None:
        raise Http404("the point has no such reason now")
    form = ClosingForm(sent(request))

    def done() -> ReasonClosing:
        why = form.cleaned_data["why"]
        return acts.close_reason(point, kind=kind, of=of, why=why, by=request.user, at=now)

    if accepted(form, done):
        messages.success(request, f"The reason is closed at {point.tag}.")
        return redirect(point)
    context = {"point": point, "state": status, "reason": reason}
    return page(request, "calibration/status/close_reason.html", form, **context)
