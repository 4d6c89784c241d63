"""What the page of a finding shows."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from calibration.findings.forms import AssessmentForm
from calibration.findings.models import Finding
from calibration.records.models import Calibration
from plant.level.units import to_cubic_metres, to_metres
from plant.pages.requests import SignedRequest
from plant.people.permissions import may


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


def finding_page(
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
