"""The technician's calibration form, and the same form again for an amendment."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from calibration.jobs.models import Job
from calibration.jobs.page import SHOWN_OF_JOB
from calibration.jobs.reads import transmitter_at, versions_for
from calibration.records import acts as records
from calibration.records.acts import Receipt
from calibration.records.calibration_form import CalibrationForm
from calibration.records.entry_check import check
from calibration.records.models import Calibration
from plant.pages.requests import SignedRequest
from plant.pages.saving import sent
from plant.people.permissions import require
from plant.refusals import Refused

NO_PROCEDURE = (
    "No procedure is published yet. An administrator loads those that come with Spanbook."
)

Send = Callable[[CalibrationForm], Receipt]
SHOWN = (
    "site",
    "point__tank__area",
    "point__tank__product",
    "transmitter",
    "procedure_version__procedure",
)


@require_http_methods(["GET", "HEAD", "POST"])
def calibrate(request: SignedRequest, pk: int) -> HttpResponse:
    """Type a calibration in, and store it. Sent again, the same form leads to the same receipt."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related(*SHOWN_OF_JOB), pk=pk)
    require(request.user, "calibrate", job.site_id)
    if request.method != "POST" and job.state not in Job.OPEN:
        messages.info(
            request, f"This job is {job.get_state_display()}: it takes no further record."
        )
        return redirect(job)
    transmitter = transmitter_at(job.point)
    asked = (request.POST or request.GET).get("procedure", "")
    version, versions = versions_for(job.point, transmitter, asked=asked)
    if version is None:
        messages.error(request, NO_PROCEDURE)
        return redirect(job)
    today = job.site.day_of(timezone.now())
    form = CalibrationForm(job.point, version, today=today, by=request.user, data=sent(request))
    context = {"job": job, "versions": versions, "transmitter": transmitter}
    return _answer(request, "calibration/records/calibrate.html", form, context, _submit(job))


def _submit(job: Job) -> Send:
    return lambda form: records.submit(
        job,
        form.entry(),
        submission=form.head.cleaned_data["submission"],
        by=form.by,
        at=timezone.now(),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def amend(request: SignedRequest, pk: int) -> HttpResponse:
    """Send a corrected record in place of an approved one, with the reason."""
    seen = Calibration.objects.seen_by(request.user).select_related(*SHOWN)
    record = get_object_or_404(seen, pk=pk)
    require(request.user, "amend", record.site_id)
    if request.method != "POST" and record.state != Calibration.State.APPROVED:
        messages.info(
            request, "Only an approved record is amended. This one is not: return it instead."
        )
        return redirect(record)
    version = record.procedure_version or versions_for(record.point, record.transmitter)[0]
    if version is None:
        messages.error(request, NO_PROCEDURE)
        return redirect(record)
    form = CalibrationForm(
        record.point,
        version,
        today=record.done_on,
        by=request.user,
        data=sent(request),
        amended=record,
    )
    context = {"record": record, "transmitter": record.transmitter}
    return _answer(request, "calibration/records/amend.html", form, context, _amend(record))


def _amend(record: Calibration) -> Send:
    return lambda form: records.amend(
        record,
        form.entry(),
        reason=form.head.cleaned_data["reason"],
        submission=form.head.cleaned_data["submission"],
        by=form.by,
        at=timezone.now(),
    )


def _answer(
    request: SignedRequest,
    template: str,
    form: CalibrationForm,
    context: dict[str, Any],
    send: Send,
) -> HttpResponse:
    """The receipt of what is stored; the form with what its readings say, where only a check was
    asked for; or the form with what is wrong.
    """
    if "check" in request.POST:
        result = check(form, context["transmitter"], context.get("record"))
        context |= {"checked": result, "check_failed": result is None}
        return _page(request, template, form, 200, context)
    receipt, status = _try(form, send)
    if receipt is None:
        return _page(request, template, form, status, context)
    if receipt.is_new:
        messages.success(request, f"Record {receipt.record.pk} is stored.")
    else:
        messages.info(
            request,
            f"This form was stored before, as record {receipt.record.pk}. Here is its receipt.",
        )
    return redirect(receipt.record)


def _try(form: CalibrationForm, send: Send) -> tuple[Receipt | None, int]:
    """The receipt; or none and the status with which the typed entries are shown again."""
    if not form.is_bound:
        return None, 200
    if not form.is_valid():
        return None, 422
    try:
        return send(form), 302
    except ValidationError as wrong:
        form.refuse(Refused(" ".join(wrong.messages)))
        return None, 422
    except Refused as refusal:
        form.refuse(refusal)
        return None, 409 if _is_taken(form) else 422


def _is_taken(form: CalibrationForm) -> bool:
    """Another content came first: under this form's id, or as the amendment or record that was
    wanted.
    """
    submission = form.head.cleaned_data["submission"]
    if Calibration.objects.filter(submission=submission).exists():
        return True
    rivals = Calibration.objects.exclude(state=Calibration.State.RETURNED)
    if form.amended:
        return rivals.filter(amends=form.amended).exists()
    return not Job.objects.filter(point=form.point, state__in=Job.OPEN).exists()


def _page(
    request: SignedRequest,
    template: str,
    form: CalibrationForm,
    status: int,
    context: dict[str, Any],
) -> HttpResponse:
    shared = {
        "entry": form.compute(),
        "point": form.point,
        "cautions": [s for s in form.version.steps.all() if s.kind == "caution"],
        "last": Calibration.objects.latest_of(form.point),
        "now": timezone.now(),
    }
    return render(request, template, shared | context, status=status)
