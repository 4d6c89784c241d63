"""Findings: what an as found out of tolerance may have touched, its assessment, and the second
person's agreement.
"""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from calibration.findings import acts
from calibration.findings.forms import AssessmentForm
from calibration.findings.models import Finding
from calibration.findings.page import error_in_units, finding_page
from calibration.pages import require_sight
from plant.pages.requests import SignedRequest
from plant.people.permissions import require
from plant.refusals import Refused

STATES = {
    "open": "open",
    "unassessed": "to be assessed",
    "assessed": "assessed, to be agreed",
    "closed": "closed",
    "all": "all",
}


@require_safe
def finding_list(request: SignedRequest) -> HttpResponse:
    """Findings, at first the open ones; newest on top."""
    require_sight(request.user)
    state = request.GET.get("state", "open")
    state = state if state in STATES else "open"
    seen = Finding.objects.seen_by(request.user).select_related(
        "point__tank", "record", "assessed_by"
    )
    narrowed = {
        "open": seen.filter(closed_at=None),
        "unassessed": seen.filter(closed_at=None, assessed_by=None),
        "assessed": seen.filter(closed_at=None, assessed_by__isnull=False),
        "closed": seen.exclude(closed_at=None),
        "all": seen,
    }[state]
    page = Paginator(narrowed, 50).get_page(request.GET.get("page"))
    rows = [(finding, error_in_units(finding)) for finding in page.object_list]
    return render(
        request,
        "calibration/findings/finding_list.html",
        {"rows": rows, "page": page, "state": state, "states": STATES},
    )


@require_safe
def finding(request: SignedRequest, pk: int) -> HttpResponse:
    return finding_page(request, _finding(request, pk), AssessmentForm(), 200)


@require_POST
def assess(request: SignedRequest, pk: int) -> HttpResponse:
    finding = _finding(request, pk)
    require(request.user, "approve", finding.site_id)
    form = AssessmentForm(request.POST)
    if form.is_valid():
        try:
            acts.assess(finding, text=form.cleaned_data["text"], by=request.user, at=timezone.now())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request,
                "Your assessment is signed. Another person must agree before the finding closes.",
            )
            return redirect(finding)
    return finding_page(request, finding, form, 422)


@require_POST
def agree(request: SignedRequest, pk: int) -> HttpResponse:
    finding = _finding(request, pk)
    require(request.user, "close finding", finding.site_id)
    try:
        acts.agree(finding, by=request.user, at=timezone.now())
    except Refused as refusal:
        messages.error(request, str(refusal))
        return finding_page(request, finding, AssessmentForm(), 422)
    messages.success(request, f"Finding {pk} is closed.")
    return redirect(finding)


def _finding(request: SignedRequest, pk: int) -> Finding:
    known = Finding.objects.seen_by(request.user).select_related(
        "site", "point__tank__product", "record", "assessed_by", "agreed_by"
    )
    return get_object_or_404(known, pk=pk)
