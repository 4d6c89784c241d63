"""Rounds: the planner's list, one round with its stops and job sheets, and what moves a stop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.db.models import Count, Q, QuerySet
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.jobs.models import Job
from calibration.pages import require_sight
from calibration.rounds import acts as rounds
from calibration.rounds.forms import AddStopsForm, RoundForm
from calibration.rounds.models import Round
from calibration.rounds.reads import DONE, stops_of
from calibration.rounds.refusals import UnknownTags
from plant.pages.requests import SignedRequest
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.points.status import NO_TRANSMITTER
from plant.quantities import day_text
from plant.refusals import NotAllowed, Refused

LISTED, NEIGHBOURS, MOST_STOPS = 200, 20, 200
FORM = ["GET", "HEAD", "POST"]


@require_safe
def listing(request: SignedRequest) -> HttpResponse:
    """Rounds, the latest first, with how far each has come."""
    require_sight(request.user)
    seen = Round.objects.seen_by(request.user).select_related("technician", "site")
    counted = seen.annotate(
        all_stops=Count("stops"), done_stops=Count("stops", filter=Q(stops__state__in=DONE))
    )
    today = timezone.now().date()
    context = {
        "ahead": counted.filter(ends_on__gte=today).order_by("starts_on", "id")[:LISTED],
        "past": counted.filter(ends_on__lt=today)[:LISTED],
        "may_plan": bool(request.user.site_ids("plan")),
    }
    return render(request, "calibration/rounds/rounds.html", context)


@require_http_methods(FORM)
def new(request: SignedRequest) -> HttpResponse:
    """Make a round of the points ticked on the due list."""
    sent = request.POST if request.method == "POST" else request.GET
    points = _ticked(request, sent.getlist("point"))
    if not request.user.site_ids("plan"):
        raise NotAllowed("Only a planner makes rounds. Ask one of your site.")
    if not points:
        status = 422 if request.method == "POST" else 200
        return render(request, "calibration/rounds/round_new.html", {"points": []}, status=status)
    site = points[0].site
    require(request.user, "plan", site.pk)
    today = site.day_of(timezone.now())
    form = RoundForm(_sent(request), site=site, on=today, initial=_first_guess(points, today))
    if form.is_valid():
        try:
            made = rounds.plan(points, **form.cleaned_data, by=request.user, at=timezone.now())
            messages.success(request, f"{made.name} has {len(points)} stops.")
            return redirect(made)
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    hours = sum(point.job_hours for point in points)
    context = {"points": points, "form": form, "site": site, "hours": hours}
    status = 422 if form.is_bound else 200
    return render(request, "calibration/rounds/round_new.html", context, status=status)


@require_safe
def one(request: SignedRequest, pk: int) -> HttpResponse:
    made = _round(request, pk)
    return _page(request, made, AddStopsForm())


@require_POST
def add(request: SignedRequest, pk: int) -> HttpResponse:
    """Append stops: ticked neighbours and typed tags."""
    made = _round(request, pk)
    require(request.user, "plan", made.site_id)
    form = AddStopsForm(request.POST)
    if form.is_valid():
        try:
            points = _by_tag(made, form.typed_tags())
            points += _ticked(request, request.POST.getlist("point"))
            rounds.add(made, points, by=request.user)
            return redirect(made)
        except Refused as refusal:
            form.add_error("tags", str(refusal))
    return _page(request, made, form, status=422)


@require_http_methods(FORM)
def change(request: SignedRequest, pk: int) -> HttpResponse:
    """Change the name, the days, the technician or the note."""
    made = _round(request, pk)
    require(request.user, "plan", made.site_id)
    today = made.site.day_of(timezone.now())
    present = {
        name: getattr(made, name) for name in ("name", "technician", "starts_on", "ends_on", "note")
    }
    form = RoundForm(_sent(request), site=made.site, on=today, initial=present)
    if form.is_valid():
        try:
            return redirect(rounds.change(made, **form.cleaned_data, by=request.user))
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    status = 422 if form.is_bound else 200
    return render(
        request, "calibration/rounds/round_edit.html", {"made": made, "form": form}, status=status
    )


@require_POST
def move(request: SignedRequest, pk: int) -> HttpResponse:
    """Move a stop one place: ``to`` is up or down."""
    stop, made = _stop(request, pk)
    require(request.user, "plan", stop.site_id)
    try:
        rounds.move(stop, up=request.POST.get("to") == "up", by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect(f"{made.get_absolute_url()}#stop-{stop.pk}")


@require_POST
def remove(request: SignedRequest, pk: int) -> HttpResponse:
    stop, made = _stop(request, pk)
    require(request.user, "plan", stop.site_id)
    try:
        rounds.remove(stop, by=request.user)
        messages.success(request, f"{stop.point.tag} is no longer a stop of this round.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect(made)


def _page(
    request: SignedRequest, made: Round, form: AddStopsForm, status: int = 200
) -> HttpResponse:
    stops = stops_of(made)
    done = sum(stop.is_done for stop in stops)
    plans = may(request.user, "plan", made.site_id)
    context = {
        "made": made,
        "stops": stops,
        "done": done,
        "hours": sum(stop.point.job_hours for stop in stops),
        "may_plan": plans,
        "form": form,
        "neighbours": _neighbours(made, stops) if plans else [],
    }
    return render(request, "calibration/rounds/round.html", context, status=status)


def _sent(request: SignedRequest) -> QueryDict | None:
    """What was posted, even if empty; None when the form is only opened."""
    return request.POST if request.method == "POST" else None


def _round(request: SignedRequest, pk: int) -> Round:
    seen = Round.objects.seen_by(request.user).select_related("site", "technician", "planned_by")
    return get_object_or_404(seen, pk=pk)


def _stop(request: SignedRequest, pk: int) -> tuple[Job, Round]:
    seen = Job.objects.seen_by(request.user).select_related("round", "point")
    stop = get_object_or_404(seen, pk=pk)
    if stop.round is None:
        raise Http404
    return stop, stop.round


def _ticked(request: SignedRequest, ids: Iterable[str]) -> list[MeasuringPoint]:
    """The points of these ids that the person may see; what is no id is left out."""
    numbers = {int(text) for text in ids if text.isascii() and text.isdigit() and len(text) < 19}
    if len(numbers) > MOST_STOPS:
        raise Http404
    seen = MeasuringPoint.objects.seen_by(request.user)
    points = seen.filter(pk__in=numbers).select_related("site", "tank__area", "tank__product")
    return sorted(points, key=lambda p: (p.tank.area.name, p.tank.name_key, p.tag_key))


def _by_tag(made: Round, tags: list[str]) -> list[MeasuringPoint]:
    points = list(MeasuringPoint.objects.filter(site=made.site, tag__in=tags))
    unknown = sorted(set(tags) - {point.tag for point in points})
    if unknown:
        raise UnknownTags(site=made.site, tags=", ".join(unknown))
    return points


def _first_guess(points: list[MeasuringPoint], today: dt.date) -> dict[str, Any]:
    """Next Monday to Friday, named after where it goes."""
    monday = today + dt.timedelta(7 - today.weekday())
    areas = sorted({point.tank.area.name for point in points})
    where = areas[0] if len(areas) == 1 else f"{areas[0]} and {len(areas) - 1} more"
    return {
        "name": f"{where}, {day_text(monday)}"[:80],
        "starts_on": monday,
        "ends_on": monday + dt.timedelta(4),
    }


def _neighbours(made: Round, stops: list[Any]) -> QuerySet[MeasuringPoint]:
    """Due soon on the tanks and in the areas the round visits anyway, and free to join it."""
    today = made.site.day_of(timezone.now())
    areas = {stop.point.tank.area_id for stop in stops}
    busy = Job.objects.filter(site=made.site, state__in=(*Job.OPEN, Job.State.SUBMITTED)).exclude(
        state=Job.State.PLANNED, round=None
    )
    here = {stop.point.pk for stop in stops}
    near = MeasuringPoint.objects.filter(site=made.site, tank__area__in=areas).exclude(pk__in=here)
    now = near.in_state("now", on=today).exclude(condition=NO_TRANSMITTER)
    free = now.exclude(pk__in=busy.values("point")).select_related("tank")
    return free.order_by("condition", "next_due", "id")[:NEIGHBOURS]
