"""Putting a calibration off: the one who asks, and the approver who decides."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from calibration.deferrals import acts as deferrals
from calibration.deferrals.forms import DecideForm, DeferForm
from calibration.deferrals.models import Deferral
from calibration.drift.chances import basis_text, chance_text
from calibration.drift.reads import trend_of
from calibration.pages import require_sight
from calibration.records.models import Calibration
from plant.pages.requests import SignedRequest
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.refusals import Refused

SHOWN_RESULTS = 5
DECIDED_SHOWN = 50
FORM = ["GET", "HEAD", "POST"]


@require_http_methods(FORM)
def defer(request: SignedRequest, pk: int) -> HttpResponse:
    """Ask for a deferral of one point."""
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site", "tank", "trend")
    point = get_object_or_404(points, pk=pk)
    require(request.user, "defer", point.site_id)
    form = DeferForm(request.POST if request.method == "POST" else None)
    only_shown = "show" in request.POST
    if form.is_valid() and not only_shown:
        try:
            deferrals.ask(point, **form.cleaned_data, by=request.user, at=timezone.now())
            messages.success(request, f"An approver now decides on the deferral of {point.tag}.")
            return redirect("calibration:deferrals")
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    status = 422 if form.is_bound and not only_shown else 200
    context = {
        "form": form,
        "waits": point.deferrals.filter(granted=None).first(),
        **_risk(point, form.cleaned_data.get("until") if form.is_bound else None),
    }
    return render(request, "calibration/deferrals/deferral_ask.html", context, status=status)


@require_safe
def waiting(request: SignedRequest) -> HttpResponse:
    """What waits for a decision, and what was decided lately."""
    require_sight(request.user)
    seen = Deferral.objects.seen_by(request.user).select_related(
        "point__tank", "site", "asked_by", "decided_by"
    )
    context = {
        "open": seen.filter(granted=None).order_by("due_on", "id"),
        "decided": seen.exclude(granted=None).order_by("-decided_at")[:DECIDED_SHOWN],
        "decides": set(request.user.site_ids("approve")),
    }
    return render(request, "calibration/deferrals/deferrals.html", context)


@require_http_methods(FORM)
def decide(request: SignedRequest, pk: int) -> HttpResponse:
    """Grant or refuse one deferral."""
    seen = Deferral.objects.seen_by(request.user).select_related(
        "point__site", "point__tank", "point__trend", "asked_by", "decided_by"
    )
    deferral = get_object_or_404(seen, pk=pk)
    require(request.user, "approve", deferral.site_id)
    form = DecideForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            done = deferrals.decide(
                deferral, **form.cleaned_data, by=request.user, at=timezone.now()
            )
            outcome = f"deferred until {day_text(done.until)}" if done.granted else "not deferred"
            messages.success(request, f"{deferral.point.tag} is {outcome}.")
            return redirect("calibration:deferrals")
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    status = 422 if form.is_bound else 200
    context = {"form": form, **_request_context(request, deferral)}
    return render(request, "calibration/deferrals/deferral_decide.html", context, status=status)


def _request_context(request: SignedRequest, deferral: Deferral) -> dict[str, Any]:
    return {
        "deferral": deferral,
        "days_asked": (deferral.until - deferral.due_on).days,
        "own": deferral.asked_by_id == request.user.pk,
        "may_decide": may(request.user, "approve", deferral.site_id),
        **_risk(deferral.point, deferral.until),
    }


def _risk(point: MeasuringPoint, until: dt.date | None) -> dict[str, Any]:
    """What is known about how the point holds its tolerance; ``until``: the day asked for."""
    today = point.site.day_of(timezone.now())
    records = Calibration.objects.standing().filter(point=point).order_by("-done_on", "-id")
    return {
        "point": point,
        "today": today,
        "state": point.status(today),
        "run": point.interval_run(today),
        "trend": getattr(point, "trend", None),
        "results": list(records[:SHOWN_RESULTS]),
        "asked_on": until,
        **_chances(point, {"today": today, "due": point.next_due, "asked": until}),
    }


def _chances(point: MeasuringPoint, days: dict[str, dt.date | None]) -> dict[str, Any]:
    """The chance of passing on each of these days that is known."""
    trend = trend_of(point)
    chances = {name: chance_text(trend, day) for name, day in days.items() if day}
    return {"chances": chances, "chance_basis": basis_text(trend)}
