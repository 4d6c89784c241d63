"""Procedures, to be read: a published version never changes."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from calibration.models import Procedure
from calibration.views.jobs import require_sight
from plant.requests import SignedRequest


@require_safe
def procedure_list(request: SignedRequest) -> HttpResponse:
    require_sight(request.user)
    procedures = [
        (procedure, next((v for v in procedure.versions.all() if v.published_on), None))
        for procedure in Procedure.objects.prefetch_related("versions")
    ]
    return render(request, "calibration/procedure_list.html", {"procedures": procedures})


@require_safe
def procedure(request: SignedRequest, key: str) -> HttpResponse:
    """One procedure: its newest version, or the one asked for by ``?version=``."""
    require_sight(request.user)
    found = get_object_or_404(Procedure, key=key)
    versions = [v for v in found.versions.all() if v.published_on]
    asked = request.GET.get("version", "")
    shown = next((v for v in versions if not asked or str(v.number) == asked), None)
    if shown is None:
        raise Http404("no such version")
    return render(
        request,
        "calibration/procedure.html",
        {"procedure": found, "versions": versions, "shown": shown, "steps": shown.steps.all()},
    )
