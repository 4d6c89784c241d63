"""Records: the list, and one record."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q, QuerySet
from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe

from calibration.approval.preview import _approvers, _due_after
from calibration.pages import require_sight
from calibration.records.filters import RecordFilter
from calibration.records.models import Calibration
from calibration.records.page import _facts, _record
from plant.pages.requests import SignedRequest
from plant.people.permissions import may

ROWS = 50

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
    "tolerance_percent",
    "performed_by_id",
)


@require_safe
def record_list(request: SignedRequest) -> HttpResponse:
    """Records newest first, 50 a page; what waits for approval is one press away."""
    require_sight(request.user)
    seen = Calibration.objects.seen_by(request.user)
    filter_form = RecordFilter(request.GET, person=request.user)
    found = _after(filter_form.narrow(seen), request.GET.get("after", "")).only(*LISTED)
    rows = list(found.order_by("-done_on", "-id")[: ROWS + 1])
    return render(
        request,
        "calibration/records/record_list.html",
        {
            "filter": filter_form,
            "rows": rows[:ROWS],
            "older": _with(request.GET, after=_place(rows[ROWS - 1])) if len(rows) > ROWS else "",
            "newest": _with(request.GET, after="") if request.GET.get("after") else "",
            "waiting": seen.waiting().count(),
            "approves_at": request.user.site_ids("approve"),
        },
    )


@require_safe
def record(request: SignedRequest, pk: int) -> HttpResponse:
    """A record as it stands for ever: readings, figures, standards, signatures."""
    record = _record(request, pk)
    facts = _facts(record) | {
        "may_approve": may(request.user, "approve", record.site_id) and record.state == "submitted",
        "may_amend": may(request.user, "amend", record.site_id) and record.state == "approved",
        "is_own": record.performed_by_id == request.user.pk,
    }
    if record.state == "submitted":
        facts |= {"approvers": _approvers(record), "next_due": _due_after(record)}
    return render(request, "calibration/records/record.html", facts)


# ---- one page after another, by the place of the last row: no counting, no skipping ----
def _place(record: Calibration) -> str:
    return f"{record.done_on.isoformat()}.{record.pk}"


def _after(records: QuerySet[Calibration], place: str) -> QuerySet[Calibration]:
    day, _, pk = place.partition(".")
    try:
        on, number = dt.date.fromisoformat(day), int(pk)
    except ValueError:
        return records
    return records.filter(Q(done_on__lt=on) | Q(done_on=on, pk__lt=number))


def _with(query: QueryDict, **changes: str) -> str:
    """The page's own address with some of its words changed."""
    changed = query.copy()
    for name, value in changes.items():
        changed.pop(name, None)
        if value:
            changed[name] = value
    return f"?{changed.urlencode()}"
