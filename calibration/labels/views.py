"""Labels for the plant: a plate with tag, serial number and next due date, and a square code that
opens the point.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from calibration.labels.drawing import label_of
from calibration.rounds.models import Round
from plant.pages.requests import SignedRequest
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation


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
    labels = [label_of(point) for point in points]
    return render(
        request, "calibration/labels/labels.html", {"labels": labels, "back": back, "what": what}
    )
