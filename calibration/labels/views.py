"""Labels for the plant: a plate with tag, serial number and next due date, and a square code that
opens the point.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

import segno
from django.conf import settings
from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.rounds.models import Round
from plant.pages.requests import SignedRequest
from plant.points.models import MeasuringPoint
from plant.points.status import CONDITIONS
from plant.transmitters.models import Installation


@dataclass(frozen=True)
class Label:
    """size: modules a side, its quiet zone with it. path: the dark modules, as an SVG path in
    modules.
    """

    point: MeasuringPoint
    serial: str
    address: str
    size: int
    path: str
    day: dt.date

    @property
    def known(self) -> str:
        """What speaks against the reading on the day of print; "" where the calendar alone does."""
        return CONDITIONS.get(self.point.condition, ("", ""))[1]


@require_safe
def label(request: SignedRequest, pk: int) -> HttpResponse:
    """The label of one measuring point, to be printed."""
    point = get_object_or_404(_points(request), pk=pk)
    return _page(request, [point], back=point.get_absolute_url(), what=point.tag)


@require_safe
def round_labels(request: SignedRequest, pk: int) -> HttpResponse:
    """The labels of all stops of a round on one sheet."""
    route = get_object_or_404(Round.objects.seen_by(request.user), pk=pk)
    points = _points(request).filter(jobs__round=route).order_by("jobs__stop_number")
    return _page(request, points, back=route.get_absolute_url(), what=route.name)


@require_safe
def find(request: SignedRequest, site: str, tag: str) -> HttpResponse:
    """Where the square code leads: the page of the point, if one may see it."""
    points = MeasuringPoint.objects.seen_by(request.user)
    return redirect(get_object_or_404(points, site__code=site, tag=tag))


def _points(request: SignedRequest) -> QuerySet[MeasuringPoint]:
    present = Installation.objects.filter(removed_on=None).select_related("transmitter")
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site", "tank")
    return points.prefetch_related(Prefetch("installations", present, to_attr="present"))


def _page(
    request: SignedRequest, points: Iterable[MeasuringPoint], *, back: str, what: str
) -> HttpResponse:
    labels = [_label(point) for point in points]
    return render(
        request, "calibration/labels/labels.html", {"labels": labels, "back": back, "what": what}
    )


def _label(point: MeasuringPoint) -> Label:
    address = settings.PUBLIC_URL.rstrip("/") + reverse(
        "calibration:find", args=[point.site.code, point.tag]
    )
    present = getattr(point, "present", [])
    code = segno.make_qr(address, error="m")
    quiet = 4  # modules, as ISO/IEC 18004 asks for (from memory)
    runs = [
        f"M{x + quiet} {y + quiet}h1v1h-1z"
        for y, row in enumerate(code.matrix)
        for x, dark in enumerate(row)
        if dark
    ]
    serial = present[0].transmitter.serial if present else ""
    day = point.site.day_of(timezone.now())
    return Label(point, serial, address, len(code.matrix) + 2 * quiet, "".join(runs), day)
