"""Tanks: their list, the page drawn to scale, and their form."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.pages.paging import page_of, without_place
from plant.pages.places import Places
from plant.pages.requests import SignedRequest
from plant.pages.saving import OFFERED, attempt, form_page, page, sent, sites_for
from plant.people.permissions import may, require
from plant.product_changes.acts import contents_text, in_words
from plant.products.models import Product
from plant.refusals import Refused
from plant.sites.models import Area
from plant.tanks import acts as operations
from plant.tanks.filters import TankFilter
from plant.tanks.forms import TankForm
from plant.tanks.geometry import geometry_of
from plant.tanks.models import Tank
from plant.tanks.page import CHANGES_SHOWN, drawn_to_scale
from plant.tanks.tables import TankTable


@require_safe
def tanks(request: SignedRequest) -> HttpResponse:
    sites_for(request, "see")
    places = Places.seen_by(request.user, timezone.now())
    seen = Tank.objects.seen_by(request.user)
    filtered = TankFilter(request.GET, seen, places=places)
    sort = TankTable.sort_from(request.GET.get("sort", ""))
    joined = Tank.objects.select_related("area", "product").annotate(point_count=Count("points"))
    listed = page_of(filtered.qs, TankTable.keys(sort), query=request.GET, joined=joined)
    context = {
        "table": TankTable(listed.rows, sort=sort),
        "page": listed,
        "filter": filtered,
        "query": without_place(request.GET),
        "may_edit": bool(request.user.site_ids("edit register")),
    }
    return render(request, "plant/tanks/tanks.html", context)


@require_safe
def tank(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(
        Tank.objects.seen_by(request.user).select_related("area", "product", "site"), pk=pk
    )
    context: dict[str, Any] = {
        "tank": row,
        "may_edit": may(request.user, "edit register", row.site_id),
        "product_changes": in_words(row.product_changes.all(), CHANGES_SHOWN),
    }
    try:
        context |= drawn_to_scale(row, geometry_of(row), asked=request.GET.get("level", "").strip())
    except Refused as refusal:
        context["trouble"] = str(refusal)
    return render(request, "plant/tanks/tank.html", context)


@form_page
def tank_new(request: SignedRequest) -> HttpResponse:
    person = request.user
    sites_for(request, "edit register")
    form = TankForm(sent(request), person=person)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        added = attempt(
            form,
            lambda: operations.add_tank(
                form.instance,
                area_name=values["area_name"],
                strapping=values["strapping"],
                by=person,
            ),
        )
        if added:
            messages.success(request, f"{added.name} is added to {added.area}.")
            return redirect("plant:tank", pk=added.pk)
    return page(request, "plant/tanks/tank_form.html", form, **_offered(form))


@form_page
def tank_edit(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(
        Tank.objects.seen_by(request.user).select_related("area", "product", "site"), pk=pk
    )
    require(request.user, "edit register", row.site_id)
    name, holds = row.name, contents_text(row.product, row.product_c)
    form = TankForm(sent(request), person=request.user, instance=row)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        saved = attempt(
            form,
            lambda: operations.change_tank(
                form.instance,
                area_name=values["area_name"],
                strapping=values["strapping"],
                seen=values["seen"],
                by=request.user,
            ),
        )
        if saved:
            messages.success(request, f"{saved.name} is changed.")
            return redirect("plant:tank", pk=saved.pk)
    context = {"tank": row, "tank_name": name, "holds": holds, **_offered(form)}
    return page(request, "plant/tanks/tank_form.html", form, **context)


def _offered(form: TankForm) -> dict[str, Any]:
    sites = [site.pk for site in form.sites]
    return {
        "areas": Area.objects.filter(site__in=sites).values_list("name", flat=True)[:OFFERED],
        "products": Product.objects.filter(site__in=sites).values_list("name", flat=True)[:OFFERED],
    }
