"""The register as a file: CSV, or a workbook."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import NamedTuple

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.importing.export import csv_lines, xlsx_chunks
from plant.pages.paging import without_place
from plant.pages.places import Places
from plant.pages.requests import SignedRequest
from plant.pages.saving import sites_for
from plant.points.filters import PointFilter
from plant.points.models import MeasuringPoint
from plant.points.views import with_present

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


XLSX_ROWS = 20_000


@require_safe
def export_csv(request: SignedRequest) -> HttpResponseBase:
    asked = _to_export(request)
    if isinstance(asked, HttpResponse):
        return asked
    return _download(
        csv_lines(asked.points, on=asked.day), "register.csv", "text/csv; charset=utf-8"
    )


@require_safe
def export_xlsx(request: SignedRequest) -> HttpResponseBase:
    asked = _to_export(request)
    if isinstance(asked, HttpResponse):
        return asked
    if asked.points.count() > XLSX_ROWS:
        messages.warning(
            request,
            f"A workbook holds up to {XLSX_ROWS} points here: filter first, or take the CSV file.",
        )
        return redirect(f"/register/?{without_place(request.GET)}")
    return _download(xlsx_chunks(asked.points, on=asked.day), "register.xlsx", XLSX)


def _download(
    chunks: Iterator[str] | Iterator[bytes], name: str, content_type: str
) -> HttpResponseBase:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(chunks, content_type=content_type, headers=headers)


class Asked(NamedTuple):
    """The filtered points of the one site the file is about, and its day."""

    points: QuerySet
    day: dt.date


def _to_export(request: SignedRequest) -> Asked | HttpResponse:
    exported = sites_for(request, "export")
    places = Places.seen_by(request.user, timezone.now())
    chosen = request.GET.get("site", "")
    if len(places.sites) > 1 and chosen not in map(str, exported):
        messages.warning(
            request, "A file holds one site: choose the site, filter, and export again."
        )
        return redirect(f"/register/?{without_place(request.GET)}")
    points = PointFilter(
        request.GET, with_present(MeasuringPoint.objects.seen_by(request.user)), places=places
    ).qs
    day = places.days[int(chosen) if len(places.sites) > 1 else exported[0]]
    return Asked(points.filter(site_id__in=exported).order_by("site_id", "tag_key", "pk"), day)
