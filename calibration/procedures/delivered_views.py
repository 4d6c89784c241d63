"""What comes with Spanbook against what is published here."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from calibration.procedures import acts
from calibration.procedures.delivered import compare_all, difference_from_delivered
from calibration.procedures.models import Procedure
from calibration.procedures.views import require_approver
from plant.pages.requests import SignedRequest
from plant.refusals import NotAllowed, Refused


@require_http_methods(["GET", "HEAD", "POST"])
def delivered(request: SignedRequest) -> HttpResponse:
    """What comes with Spanbook against what is published here; publishes the missing ones."""
    require_approver(request.user)
    if request.method == "POST":
        try:
            new = acts.publish_delivered(by=request.user, on=timezone.now().date())
        except NotAllowed:
            raise
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(request, f"{len(new)} delivered procedures are published.")
        return redirect("calibration:procedures")
    context = {"standing": compare_all()}
    return render(request, "calibration/procedures/procedure_delivered.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def renew(request: SignedRequest, key: str) -> HttpResponse:
    """The delivered text of a procedure against the one here, published as the next version where
    nobody edited it.
    """
    require_approver(request.user)
    row = get_object_or_404(Procedure, key=key)
    refused = _refusal_to_follow(row, request) if request.method == "POST" else ""
    if request.method == "POST" and not refused:
        text = "The delivered text is published; jobs begun from now on follow it."
        messages.success(request, text)
        return redirect(row)
    context = {
        "procedure": row,
        "differing": difference_from_delivered(row),
        "refused": refused,
    }
    status = 422 if refused else 200
    return render(request, "calibration/procedures/procedure_renew.html", context, status=status)


def _refusal_to_follow(row: Procedure, request: SignedRequest) -> str:
    """Publish the delivered text; "" where that went through, else why not."""
    based_on = request.POST.get("based_on", "")
    number = int(based_on) if based_on.isdigit() else 0
    try:
        acts.follow_delivered(row, based_on=number, by=request.user, on=timezone.now().date())
    except NotAllowed:
        raise
    except Refused as refusal:
        return str(refusal)
    return ""
