"""The page on which an approver reads a record, signs it or returns it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from calibration.approval import acts as approval_acts
from calibration.approval.forms import ApprovalForm, ReturnForm
from calibration.approval.preview import due_after
from calibration.approval.unusual import unusual
from calibration.records.models import Calibration
from calibration.records.page import record_context, record_seen_by
from plant.pages.requests import SignedRequest
from plant.people.permissions import require
from plant.quantities import day_text
from plant.refusals import Refused


@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: SignedRequest, pk: int) -> HttpResponse:
    """Read what is unusual, then sign exactly what was shown."""
    record = record_seen_by(request.user, pk)
    require(request.user, "approve", record.site_id)
    if request.method != "POST" and record.state != "submitted":
        messages.info(
            request, f"This record is {record.get_state_display()}: there is nothing to decide."
        )
        return redirect(record)
    form = ApprovalForm(request.POST) if request.method == "POST" else None
    if form and form.is_valid():
        try:
            signed = approval_acts.approve(
                record, **form.cleaned_data, by=request.user, at=timezone.now()
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            _tell_approved(request, signed)
            return redirect(record)
    return _decide(request, record, approval=form)


@require_POST
def send_back(request: SignedRequest, pk: int) -> HttpResponse:
    """Return the record to its performer, with the reason."""
    record = record_seen_by(request.user, pk)
    require(request.user, "approve", record.site_id)
    form = ReturnForm(request.POST)
    if form.is_valid():
        try:
            approval_acts.send_back(
                record, reason=form.cleaned_data["reason"], by=request.user, at=timezone.now()
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, f"Record {pk} went back to {record.performed_by_name} with your reason."
            )
            return redirect("calibration:records")
    return _decide(request, record, back=form)


def _decide(
    request: SignedRequest,
    record: Calibration,
    *,
    approval: ApprovalForm | None = None,
    back: ReturnForm | None = None,
) -> HttpResponse:
    refused = bool(approval or back)
    taken = record.state != "submitted" or bool(
        refused and not Calibration.objects.waiting().filter(pk=record.pk).exists()
    )
    context = record_context(record) | {
        "approval": approval or ApprovalForm(initial={"content_sha256": record.content_sha256}),
        "back": back or ReturnForm(),
        "is_own": record.performed_by_id == request.user.pk,
        "taken": taken,
        "next_due": due_after(record),
    }
    context["unusual"] = unusual(record, context["readings"], context["uses"])
    status = 409 if taken else 422 if refused else 200
    return render(request, "calibration/approval/approve.html", context, status=status)


def _tell_approved(request: SignedRequest, record: Calibration) -> None:
    messages.success(
        request,
        f"Record {record.pk} is approved. {record.tag} is next due on "
        f"{day_text(record.point.due_on)}.",
    )
    if record.found_verdict == "fail" and not record.amends_id:
        messages.warning(
            request, "As found was out of tolerance, so a finding is open. It needs an assessment."
        )
