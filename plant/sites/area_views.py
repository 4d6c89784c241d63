"""An area's name."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect

from plant.pages.requests import SignedRequest
from plant.pages.saving import attempt, form_page, page, sent
from plant.people.permissions import require
from plant.sites import acts as sites_acts
from plant.sites.forms import AreaForm
from plant.sites.models import Area


@form_page
def area_edit(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Area.objects.seen_by(request.user).select_related("site"), pk=pk)
    require(request.user, "edit register", row.site_id)
    name = row.name
    form = AreaForm(sent(request), person=request.user, instance=row)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        if attempt(form, lambda: sites_acts.rename_area(form.instance, seen=seen, by=request.user)):
            messages.success(request, f"{name} is now {form.instance.name}.")
            return redirect("plant:sites")
    return page(request, "plant/sites/area_form.html", form, area=row, area_name=name)
