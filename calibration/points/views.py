"""One measuring point, one transmitter: what they are, how they drift, their results."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.drift.pages import drift_context
from calibration.points.page import SHOWN, consequence, open_matters, probe_of, rights
from calibration.procedures.models import Procedure
from calibration.records.models import Calibration
from plant.pages.requests import SignedRequest
from plant.points.columns import POINT
from plant.points.models import MeasuringPoint
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Installation, Transmitter

STRIP = (
    "site_id",
    "tag",
    "serial",
    "done_on",
    "performed_by_name",
    "approved_by_name",
    "state",
    "adjusted",
    "amends_id",
    "found_verdict",
    "left_verdict",
    "found_errors",
    "left_errors",
    "found_largest",
    "tolerance",
    "tolerance_down",
    "tolerance_sides",
    "tolerance_percent",
)


@require_safe
def point(request: SignedRequest, pk: int) -> HttpResponse:
    """State, range, drift and results of a measuring point."""
    points = MeasuringPoint.objects.seen_by(request.user)
    point = get_object_or_404(points.select_related("site", "tank__area", "tank__product"), pk=pk)
    installations = list(
        Installation.objects.filter(point=point).select_related("transmitter")[:SHOWN]
    )
    present = next((row for row in installations if row.removed_on is None), None)
    today = point.site.day_of(timezone.now())
    drift = drift_context(point, request.GET, today=today)
    context = {
        "point": point,
        "lines": POINT.lines(point),
        "state": point.status(today),
        "run": point.interval_run(today),
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(point=point).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        "procedure": Procedure.objects.filter(key=point.procedure_key).first(),
        **open_matters(point),
        **drift,
        "consequence": consequence(point, drift["trend"], today=today),
        **rights(request.user, point.site_id),
    }
    return render(request, "calibration/points/point.html", context)


@require_safe
def transmitter(request: SignedRequest, pk: int) -> HttpResponse:
    """A device: its data, where it was installed, its results at every point, its drift where it is
    now.
    """
    seen = Transmitter.objects.seen_by(request.user).select_related("site")
    device = get_object_or_404(seen, pk=pk)
    rows = Installation.objects.filter(transmitter=device).select_related("point__tank__product")
    installations = list(rows[:SHOWN])
    present = next((row for row in installations if row.removed_on is None), None)
    context: dict[str, Any] = {
        "transmitter": device,
        "lines": TRANSMITTER.lines(device),
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(transmitter=device).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        **rights(request.user, device.site_id),
    }
    if present:
        today = device.site.day_of(timezone.now())
        point = present.point
        context |= drift_context(point, request.GET, today=today)
        context |= {"point": point, "state": point.status(today), **probe_of(device, point)}
    return render(request, "calibration/points/transmitter.html", context)
