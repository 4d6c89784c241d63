"""A site's own wording beside a step: added, changed and dropped by an approver of that site."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST

from calibration.pages import require_sight
from calibration.procedures import wording_acts as acts
from calibration.procedures.models import Procedure, ProcedureVersion, SiteWording
from calibration.procedures.wording_forms import WordingChangeForm, WordingForm
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, page, sent
from plant.people.permissions import require
from plant.refusals import NotAllowed
from plant.sites.models import Site

PAGE = "calibration/procedures/wording.html"


@require_http_methods(["GET", "HEAD", "POST"])
def add(request: SignedRequest, key: str) -> HttpResponse:
    require_sight(request.user)
    procedure = get_object_or_404(Procedure, key=key)
    sites = list(Site.objects.filter(pk__in=request.user.site_ids("publish procedure")))
    if not sites:
        raise NotAllowed("Only an approver words a step for a site. Ask one.")
    form = WordingForm(sent(request), sites=sites, version=_newest(procedure))

    def act() -> SiteWording:
        typed = {name: form.cleaned_data[name] for name in ("step_key", "devices", "text")}
        row = SiteWording(procedure=procedure, site_id=int(form.cleaned_data["site"]), **typed)
        return acts.add(row, by=request.user)

    if accepted(form, act):
        return redirect(procedure)
    return page(request, PAGE, form, procedure=procedure)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: SignedRequest, pk: int) -> HttpResponse:
    row = _wording(request, pk)
    require(request.user, "publish procedure", row.site_id)
    form = WordingChangeForm(sent(request), instance=row, version=_newest(row.procedure))
    if accepted(
        form, lambda: acts.change(form.instance, seen=form.cleaned_data["seen"], by=request.user)
    ):
        return redirect(row.procedure)
    return page(request, PAGE, form, procedure=row.procedure, wording=row)


@require_POST
def drop(request: SignedRequest, pk: int) -> HttpResponse:
    row = _wording(request, pk)
    acts.drop(row, by=request.user)
    return redirect(row.procedure)


def _wording(request: SignedRequest, pk: int) -> SiteWording:
    seen = SiteWording.objects.seen_by(request.user).select_related("procedure", "site")
    return get_object_or_404(seen, pk=pk)


def _newest(procedure: Procedure) -> ProcedureVersion:
    version = procedure.versions.first()
    if version is None:
        raise Http404("nothing is published")
    return version
