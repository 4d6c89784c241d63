"""Which transmitter is installed at a point: put one in, another in its place, or take it away."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from plant.pages.requests import SignedRequest
from plant.pages.saving import OFFERED, attempt, form_page, sent
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.transmitters import acts as installing
from plant.transmitters.forms import InstallForm, RemoveForm, SwapForm
from plant.transmitters.models import Installation, Transmitter


@form_page
def install(request: SignedRequest, pk: int) -> HttpResponse:
    """Install a transmitter at a free point, or put another in the place of the one there."""
    point, present = _point(request, pk)
    form = _install_form(sent(request), point, present)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data | {"today": _today(point), "by": request.user}
        act = installing.swap if present else installing.install
        done = attempt(form, lambda: act(point, **values))
        if done:
            messages.success(request, f"{done.transmitter} is now installed at {point.tag}.")
            return redirect(point)
    return _page(request, point, present, form, _remove_form(None, point, present))


@require_POST
def remove(request: SignedRequest, pk: int) -> HttpResponse:
    """Remove the transmitter and leave the point empty."""
    point, present = _point(request, pk)
    form = _remove_form(request.POST, point, present)
    if form.is_valid():
        values = form.cleaned_data | {"today": _today(point), "by": request.user}
        gone = attempt(form, lambda: installing.remove(point, **values))
        if gone:
            messages.success(
                request, f"{gone.transmitter} is removed; {point.tag} has no transmitter now."
            )
            return redirect(point)
    return _page(request, point, present, _install_form(None, point, present), form)


def _point(request: SignedRequest, pk: int) -> tuple[MeasuringPoint, Installation | None]:
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site", "tank")
    point = get_object_or_404(points, pk=pk)
    if not installing.may_enter_installations(request.user, point.site_id):
        require(request.user, "edit register", point.site_id)
    rows = point.installations.filter(removed_on=None).select_related("transmitter")
    return point, rows.first()


def _today(point: MeasuringPoint) -> Any:
    return point.site.day_of(timezone.now())


def _install_form(data: Any, point: MeasuringPoint, present: Installation | None) -> InstallForm:
    initial = {"on": _today(point), "seen": present.pk if present else None}
    return (SwapForm if present else InstallForm)(data, point=point, initial=initial)


def _remove_form(data: Any, point: MeasuringPoint, present: Installation | None) -> RemoveForm:
    initial = {"on": _today(point), "seen": present.pk if present else None}
    return RemoveForm(data, prefix="remove", initial=initial)


def _page(
    request: SignedRequest,
    point: MeasuringPoint,
    present: Installation | None,
    form: InstallForm,
    away: RemoveForm,
) -> HttpResponse:
    spares = Transmitter.objects.filter(site_id=point.site_id, status=Transmitter.Status.SPARE)
    context = {
        "point": point,
        "present": present,
        "form": form,
        "away": away,
        "spares": spares[:OFFERED],
        "before": point.installations.exclude(removed_on=None).select_related("transmitter")[:20],
    }
    status = 422 if form.is_bound or away.is_bound else 200
    return render(request, "plant/transmitters/install.html", context, status=status)
