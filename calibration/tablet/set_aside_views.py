"""Works from the plant that were set aside: the list, one with both versions side by side, and its
settling.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from calibration.jobs.reads import transmitter_at
from calibration.pages import require_sight
from calibration.records.models import Calibration
from calibration.tablet import set_aside_acts as acts
from calibration.tablet.comparison import job_rows, reading_rows, register_rows, step_rows
from calibration.tablet.content import Content, read
from calibration.tablet.days import FAR_OFF, day_of_work, off_text
from calibration.tablet.forms import KeepForm, StoreForm
from calibration.tablet.models import FieldPhoto, FieldWork
from plant.pages.requests import SignedRequest
from plant.people.permissions import may, require
from plant.refusals import Refused

ROWS = 50
STATES = {
    "set aside": "to settle",
    "signed": "signed, not yet here",
    "settled": "settled",
    "stored": "stored as records",
}


SHOWN_OF_WORK = (
    "site",
    "person",
    "settled_by",
    "record",
    "job__site",
    "job__technician",
    "job__point__site",
    "job__point__tank__product",
)


@require_safe
def work_list(request: SignedRequest) -> HttpResponse:
    """Those to settle first shown, the longest waiting on top."""
    require_sight(request.user)
    state = request.GET.get("state", "")
    state = state if state in STATES else "set aside"
    rows = FieldWork.objects.shown_to(request.user).filter(state=state).defer("content")
    rows = rows.select_related("site", "person", "job__point__tank", "settled_by", "record")
    order = "signed_at" if state in ("set aside", "signed") else "-signed_at"
    page = Paginator(rows.order_by(order, "pk"), ROWS).get_page(request.GET.get("page"))
    context = {"rows": page.object_list, "page": page, "state": state, "states": STATES}
    return render(request, "calibration/tablet/set_aside_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def work_page(request: SignedRequest, pk: int) -> HttpResponse:
    """What the tablet had beside what the site has now; and how it is settled."""
    known = FieldWork.objects.shown_to(request.user).select_related(*SHOWN_OF_WORK)
    work = get_object_or_404(known, pk=pk)
    if request.method == "POST":
        require(request.user, "settle work", work.site_id)
    outcome = request.POST.get("outcome", "keep") if request.method == "POST" else ""
    store = StoreForm(request.POST if outcome == "store" else None, auto_id="store_%s")
    is_keep = outcome not in ("", "store")
    keep = KeepForm(request.POST if is_keep else None, auto_id="keep_%s")
    sent = store if store.is_bound else keep
    if sent.is_bound and _settled(request, work, sent, as_record=store.is_bound):
        return redirect(work.get_absolute_url())
    context = _context(request, work) | {"store": store, "keep": keep}
    if not store.is_bound:
        store.initial["done_on"] = context["day"]
    status = 422 if sent.is_bound else 200
    return render(request, "calibration/tablet/set_aside.html", context, status=status)


def _settled(request: SignedRequest, work: FieldWork, form: forms.Form, *, as_record: bool) -> bool:
    if not form.is_valid():
        return False
    try:
        done = acts.settle(
            work, as_record=as_record, **form.cleaned_data, by=request.user, at=timezone.now()
        )
    except Refused as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return False
    outcome = f"is stored as record {done.record_id}" if as_record else "is kept without a record"
    messages.success(request, f"The tablet record of {work.person} {outcome}.")
    return True


def _context(request: SignedRequest, work: FieldWork) -> dict[str, Any]:
    try:
        content = read(work.content)
    except Refused:
        content = None
    first = _first_record(work)
    now = transmitter_at(work.job.point)
    may_settle = may(request.user, "settle work", work.site_id) and work.state == "set aside"
    return {
        "work": work,
        "point": work.job.point,
        "content": content,
        "first": first,
        "register": register_rows(content, work.job.point, now),
        "job": job_rows(content, work, now),
        "readings": reading_rows(content, first),
        "steps": step_rows(content),
        "photos": placed(work, list(work.photos.all())),
        "clock": clock_text(work),
        "is_own": work.person_id == request.user.pk,
        "may_settle": may_settle,
        "day": _day(content, work),
    }


def clock_text(work: FieldWork) -> str:
    """How far the tablet's clock was off; "" where that is of no account."""
    return off_text(work.skew_seconds) if abs(work.skew_seconds) > FAR_OFF else ""


def placed(work: FieldWork, photos: list[FieldPhoto]) -> list[FieldPhoto]:
    """The photos of a work, each with its step: one that came before the content learns it from
    there.
    """
    try:
        steps = {photo.sha256: photo.step for photo in read(work.content).photos}
    except Refused:
        steps = {}
    for photo in photos:
        photo.step = photo.step or steps.get(photo.sha256, 0)
    return photos


def _day(content: Content | None, work: FieldWork) -> dt.date | None:
    return day_of_work(content, work, at=work.signed_at).on if content else None


def _first_record(work: FieldWork) -> Calibration | None:
    """The record that came first: of the work's job, else one of the point stored since the work
    was signed.
    """
    rows = Calibration.objects.filter(point=work.job.point_id).exclude(pk=work.record_id or 0)
    since = Q(job=work.job_id) | Q(submitted_at__gte=work.signed_at)
    return rows.filter(since).exclude(state="returned").order_by("pk").first()
