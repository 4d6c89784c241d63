"""Procedures: read by all, changed by an approver; a published version never changes, a change is the next one."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.forms.procedures import (
    ProcedureForm,
    Steps,
    WordingForm,
    filled_from,
    steps_of,
)
from calibration.models import Procedure, SiteWording
from calibration.operations import procedures as acts
from calibration.operations import wordings
from calibration.views.jobs import require_sight
from plant.models import Site
from plant.refusals import NotAllowed, Refused
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
        {
            "procedure": found,
            "versions": versions,
            "shown": shown,
            "steps": shown.steps.all(),
            "may_edit": bool(request.user.site_ids("publish procedure")),
            "wordings": SiteWording.objects.filter(
                procedure=found, site__in=request.user.site_ids("see")
            ).select_related("site"),
            "own": set(request.user.site_ids("publish procedure")),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def wording(request: SignedRequest, key: str) -> HttpResponse:
    """A site's own wording for a step, added by an approver of that site."""
    require_sight(request.user)
    found = get_object_or_404(Procedure, key=key)
    sites = list(Site.objects.filter(pk__in=request.user.site_ids("publish procedure")))
    if not sites:
        raise NotAllowed("Only an approver words a step for a site. Ask one.")
    version = found.versions.first()
    if version is None:
        raise Http404("nothing is published")
    form = WordingForm(request.POST or None, sites=sites, version=version)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            typed = form.cleaned_data | {"site_id": int(form.cleaned_data["site"])}
            del typed["site"]
            try:
                wordings.add(SiteWording(procedure=found, **typed), by=request.user)
                return redirect(found)
            except Refused as refusal:
                form.refuse(refusal)
            except ValidationError as wrong:
                form.add_error(None, " ".join(wrong.messages))
    told = {"procedure": found, "form": form}
    return render(request, "calibration/wording.html", told, status=status)


@require_POST
def wording_drop(request: SignedRequest, pk: int) -> HttpResponse:
    seen = SiteWording.objects.filter(site__in=request.user.site_ids("see"))
    row = get_object_or_404(seen.select_related("procedure", "site"), pk=pk)
    wordings.drop(row, by=request.user)
    return redirect(row.procedure)


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: SignedRequest, key: str) -> HttpResponse:
    """The next version of a procedure, by an approver."""
    require_sight(request.user)
    found = get_object_or_404(Procedure, key=key)
    if not request.user.site_ids("publish procedure"):
        raise NotAllowed("Only an approver changes a procedure. Ask one.")
    version = found.versions.first()
    if version is None:
        raise Http404("nothing is published")
    facts, rows = filled_from(version)
    form = ProcedureForm(request.POST or None, initial=facts)
    steps = Steps(request.POST or None, initial=rows, prefix="step")
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid() and steps.is_valid():
            try:
                acts.revise(
                    found, **form.cleaned_data, steps=steps_of(steps, version),
                    by=request.user, on=timezone.now().date(),
                )  # fmt: skip
                messages.success(
                    request, "The new version is published; jobs begun from now on follow it."
                )
                return redirect(found)
            except Refused as refusal:
                form.refuse(refusal)
    told = {
        "procedure": found,
        "version": version,
        "next": version.number + 1,
        "form": form,
        "steps": steps,
    }
    return render(request, "calibration/procedure_edit.html", told, status=status)
