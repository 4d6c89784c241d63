"""Records: the list, and one record."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from calibration.approval.preview import approvers_of, due_after
from calibration.pages import require_sight
from calibration.records.filters import RecordFilter
from calibration.records.models import Calibration
from calibration.records.page import record_context, record_seen_by
from plant.pages.paging import page_of, without_place
from plant.pages.requests import SignedRequest
from plant.people.permissions import may

ROWS = 50
ORDER = ("-done_on",)

LISTED = (
    "site_id",
    "tag",
    "tank_name",
    "serial",
    "done_on",
    "performed_by_name",
    "state",
    "adjusted",
    "amends_id",
    "found_verdict",
    "left_verdict",
    "found_errors",
    "left_errors",
    "tolerance",
    "tolerance_down",
    "tolerance_sides",
    "tolerance_percent",
    "performed_by_id",
)


@require_safe
def record_list(request: SignedRequest) -> HttpResponse:
    """Records newest first, 50 a page; what waits for approval is one press away."""
    require_sight(request.user)
    seen = Calibration.objects.seen_by(request.user)
    filtered = RecordFilter(request.GET, seen, person=request.user)
    listed = seen.only(*LISTED)
    page = page_of(filtered.qs, ORDER, query=request.GET, joined=listed, size=ROWS, counts=False)
    context = {
        "filter": filtered,
        "rows": page.rows,
        "newer": page.earlier,
        "older": page.later,
        "newest": f"?{without_place(request.GET)}" if page.before else "",
        "waiting": seen.waiting().count(),
        "approves_at": request.user.site_ids("approve"),
    }
    return render(request, "calibration/records/record_list.html", context)


@require_safe
def record(request: SignedRequest, pk: int) -> HttpResponse:
    """A record as it stands for ever: readings, figures, standards, signatures."""
    record = record_seen_by(request.user, pk)
    context = record_context(record) | {
        "may_approve": may(request.user, "approve", record.site_id) and record.state == "submitted",
        "may_amend": may(request.user, "amend", record.site_id) and record.state == "approved",
        "is_own": record.performed_by_id == request.user.pk,
    }
    if record.state == "submitted":
        context |= {"approvers": approvers_of(record), "next_due": due_after(record)}
    return render(request, "calibration/records/record.html", context)
