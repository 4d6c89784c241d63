"""Findings: what an as found out of tolerance may have touched, its assessment, and the second
person's agreement.
"""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from calibration.findings import acts
from calibration.findings.forms import AssessmentForm
from calibration.findings.models import Finding
from calibration.pages import require_sight
from calibration.records.models import Calibration
from plant.level.units import to_cubic_metres, to_metres
from plant.pages.requests import SignedRequest
from plant.people.permissions import may, require
from plant.refusals import Refused

STATES = {"open": "open", "assessed": "assessed, to be agreed", "closed": "closed", "all": "all"}


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
    return _page(request, _finding(request, pk), AssessmentForm(), 200)


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
    return _page(request, finding, form, 422)


@require_POST
def agree(request: SignedRequest, pk: int) -> HttpResponse:
    finding = _finding(request, pk)
    require(request.user, "close finding", finding.site_id)
    try:
        acts.agree(finding, by=request.user, at=timezone.now())
    except Refused as refusal:
        messages.error(request, str(refusal))
        return _page(request, finding, AssessmentForm(), 422)
    messages.success(request, f"Finding {pk} is closed.")
    return redirect(finding)


def error_in_units(finding: Finding) -> tuple[float, str] | None:
    """The largest error in mm of level, or m³ where the point indicates volume; None without a
    value.
    """
    record = finding.record
    if finding.largest_percent is None:
        return None
    convert, unit, factor = (
        (to_metres, "mm", 1000) if record.quantity == "level" else (to_cubic_metres, "m3", 1)
    )
    span = abs(
        float(convert(record.upper, record.unit)) - float(convert(record.lower, record.unit))
    )
    return finding.largest_percent / 100 * span * factor, unit


def _finding(request: SignedRequest, pk: int) -> Finding:
    known = Finding.objects.seen_by(request.user).select_related(
        "site", "point__tank__product", "record", "assessed_by", "agreed_by"
    )
    return get_object_or_404(known, pk=pk)


def _page(
    request: SignedRequest, finding: Finding, form: AssessmentForm, status: int
) -> HttpResponse:
    context: dict[str, Any] = {
        "finding": finding,
        "record": finding.record,
        "reach": error_in_units(finding),
        "history": _history(finding),
        "form": form,
        "may_assess": finding.closed_at is None and may(request.user, "approve", finding.site_id),
        "may_agree": finding.closed_at is None
        and may(request.user, "close finding", finding.site_id),
        "is_own": finding.assessed_by_id == request.user.pk,
    }
    return render(request, "calibration/findings/finding.html", context, status=status)


def _history(finding: Finding) -> list[Calibration]:
    """The records from the last good as left to what was found, and what came after; newest
    first.
    """
    records = Calibration.objects.standing().filter(point=finding.point_id)
    if finding.doubtful_from:
        records = records.filter(done_on__gte=finding.doubtful_from)
    return list(records[:30])
