"""Transmitters: their list and their form."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import F, FilteredRelation, Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.pages.paging import page_of, without_place
from plant.pages.places import Places
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent, sites_for
from plant.people.permissions import require
from plant.transmitters import acts as installing
from plant.transmitters.filters import TransmitterFilter
from plant.transmitters.forms import TransmitterForm
from plant.transmitters.models import Transmitter
from plant.transmitters.tables import TransmitterTable


def _with_place() -> QuerySet:
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    return Transmitter.objects.annotate(
        present=present, point_id=F("present__point_id"), point_tag=F("present__point__tag")
    )


@require_safe
def transmitters(request: SignedRequest) -> HttpResponse:
    sites_for(request, "see")
    places = Places.seen_by(request.user, timezone.now())
    seen = Transmitter.objects.seen_by(request.user)
    filtered = TransmitterFilter(request.GET, seen, places=places)
    sort = TransmitterTable.sort_from(request.GET.get("sort", ""))
    listed = page_of(
        filtered.qs,
        TransmitterTable.keys(sort),
        query=request.GET,
        joined=_with_place(),
    )
    for row in listed.rows:
        row.point_url = f"/points/{row.point_id}/"
    context = {
        "table": TransmitterTable(listed.rows, sort=sort),
        "page": listed,
        "filter": filtered,
        "query": without_place(request.GET),
        "may_edit": bool(request.user.site_ids("edit register")),
    }
    return render(request, "plant/transmitters/transmitters.html", context)


@form_page
def new(request: SignedRequest) -> HttpResponse:
    sites_for(request, "edit register")
    form = TransmitterForm(sent(request), person=request.user)
    if accepted(form, lambda: installing.add_transmitter(form.instance, by=request.user)):
        messages.success(
            request, f"{form.instance} is added as a spare. Install it at its measuring point."
        )
        return redirect("plant:transmitters")
    return page(request, "plant/transmitters/transmitter_form.html", form)


@form_page
def edit(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Transmitter.objects.seen_by(request.user).select_related("site"), pk=pk)
    require(request.user, "edit register", row.site_id)
    name = str(row)
    form = TransmitterForm(sent(request), person=request.user, instance=row)
    if accepted(form, lambda: _change(form, request)):
        messages.success(request, f"{form.instance} is changed.")
        return redirect(form.instance)
    return page(
        request,
        "plant/transmitters/transmitter_form.html",
        form,
        transmitter=row,
        transmitter_name=name,
    )


def _change(form: TransmitterForm, request: SignedRequest) -> Transmitter:
    return installing.change_transmitter(
        form.instance, seen=form.cleaned_data["seen"], by=request.user
    )
