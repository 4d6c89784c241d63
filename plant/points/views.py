"""The register: its list, and the forms of its measuring points."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.db.models import F, FilteredRelation, Q, QuerySet, Value
from django.db.models.functions import Coalesce
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.pages.paging import page_of, without_place
from plant.pages.places import Places
from plant.pages.requests import SignedRequest
from plant.pages.saving import OFFERED, accepted, attempt, form_page, page, sent, sites_for
from plant.people.permissions import may, require
from plant.points import acts as operations
from plant.points.filters import PointFilter
from plant.points.forms import BackForm, NewPointForm, PointForm, ServiceForm
from plant.points.models import MeasuringPoint
from plant.points.tables import PointTable, with_states
from plant.sites.models import Site
from plant.tanks.models import Tank

"""A workbook is made whole before its first byte goes out: some ten seconds for so many, and then
it would time out.
"""


def with_present(points: QuerySet) -> QuerySet:
    """Each point with the transmitter installed at it now, without a query of its own."""
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    return points.annotate(
        present=present,
        serial=Coalesce("present__transmitter__serial", Value("")),
        principle=F("present__transmitter__principle"),
        transmitter_id=F("present__transmitter_id"),
    )


@require_safe
def register(request: SignedRequest) -> HttpResponse:
    sites_for(request, "see")
    places = Places.seen_by(request.user, timezone.now())
    sort = PointTable.sort_from(request.GET.get("sort", ""))
    seen = MeasuringPoint.objects.seen_by(request.user)
    points = with_present(seen) if sort.endswith("transmitter") else seen
    filtered = PointFilter(request.GET, points, places=places)
    listed = page_of(
        filtered.qs,
        PointTable.keys(sort),
        query=request.GET,
        joined=with_present(MeasuringPoint.objects.all()).select_related(
            "tank__area", "tank__product"
        ),
    )
    context = {
        "table": PointTable(with_states(listed.rows, places.days), sort=sort),
        "page": listed,
        "filter": filtered,
        "sites": places.sites if len(places.sites) > 1 else {},
        "query": without_place(request.GET),
        "may_edit": bool(request.user.site_ids("edit register")),
        "may_export": bool(request.user.site_ids("export")),
    }
    return render(request, "plant/points/points.html", context)


@form_page
def new(request: SignedRequest) -> HttpResponse:
    sites = sites_for(request, "edit register")
    tank = _tank_asked_for(request)
    today = _today(sites, tank)
    initial = {"tank_name": tank.name, "site": tank.site_id} if tank else {}
    form = NewPointForm(sent(request), person=request.user, today=today, initial=initial)
    if form.is_bound and form.is_valid():
        point = attempt(form, lambda: operations.add(form.instance, by=request.user))
        if point:
            messages.success(request, f"{point.tag} is registered. Install its transmitter next.")
            return redirect("plant:install", pk=point.pk)
    return page(request, "plant/points/point_form.html", form, **_offered(form))


@form_page
def edit(request: SignedRequest, pk: int) -> HttpResponse:
    point = get_object_or_404(
        MeasuringPoint.objects.seen_by(request.user).select_related("tank", "site"), pk=pk
    )
    require(request.user, "edit register", point.site_id)
    tag = point.tag
    form = PointForm(sent(request), person=request.user, instance=point)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        saved = attempt(
            form,
            lambda: operations.change(
                form.instance, seen=values["seen"], why=values["why"], by=request.user
            ),
        )
        if saved:
            messages.success(request, f"{saved.tag} is changed.")
            return redirect(saved)
    return page(
        request, "plant/points/point_form.html", form, point=point, tag=tag, **_offered(form)
    )


@form_page
def service(request: SignedRequest, pk: int) -> HttpResponse:
    """Out of service, or back in."""
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site")
    point = get_object_or_404(points, pk=pk)
    require(request.user, "edit register", point.site_id)
    today = point.site.day_of(timezone.now())
    is_out = point.out_of_service_on is not None
    form = _service_form(request, is_out, today)
    if accepted(form, lambda: _move(point, is_out, form, today, request)):
        messages.success(request, f"{point.tag} is {'back in' if is_out else 'out of'} service.")
        return redirect(point)
    return page(request, "plant/points/service.html", form, point=point, is_out=is_out)


def _service_form(request: SignedRequest, is_out: bool, today: dt.date) -> BackForm | ServiceForm:
    data = sent(request)
    return BackForm(data) if is_out else ServiceForm(data, initial={"on": today})


def _move(
    point: MeasuringPoint,
    is_out: bool,
    form: BackForm | ServiceForm,
    today: dt.date,
    request: SignedRequest,
) -> MeasuringPoint:
    values = form.cleaned_data
    if is_out:
        return operations.put_back_in_service(point, why=values["why"], by=request.user)
    return operations.take_out_of_service(point, **values, today=today, by=request.user)


def _tank_asked_for(request: SignedRequest) -> Tank | None:
    asked = request.GET.get("tank", "")
    if not asked.isdecimal() or len(asked) > 18:
        return None
    tank = Tank.objects.seen_by(request.user).select_related("site").filter(pk=int(asked)).first()
    return tank if tank and may(request.user, "edit register", tank.site_id) else None


def _today(sites: list[int], tank: Tank | None) -> dt.date:
    site = tank.site if tank else Site.objects.get(pk=sites[0])
    return site.day_of(timezone.now())


def _offered(form: PointForm) -> dict[str, Any]:
    sites = [site.pk for site in form.sites]
    return {"tanks": Tank.objects.filter(site__in=sites).values_list("name", flat=True)[:OFFERED]}
