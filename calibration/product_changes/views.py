"""A tank's change of product: first what it does to each reading there, then the change itself."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from calibration.jobs.models import Job
from calibration.product_changes import acts as demands
from calibration.product_changes.effects import effects_of
from calibration.product_changes.forms import ProductChangeForm
from plant.pages.requests import SignedRequest
from plant.pages.saving import OFFERED, attempt, form_page, sent
from plant.people.permissions import may, require
from plant.product_changes.acts import ListedChange, contents_text, in_words, refuse_wrong
from plant.products.models import Product
from plant.refusals import Refused
from plant.tanks.models import Tank
from plant.transmitters.probe import Contents

SHOWN = 20


@form_page
def change(request: SignedRequest, pk: int) -> HttpResponse:
    """The changes so far, and a planner's next: "Show what it does" comes back here, "Store the
    change" stores it.
    """
    tanks = Tank.objects.seen_by(request.user).select_related("site", "area", "product")
    tank = get_object_or_404(tanks, pk=pk)
    if request.method == "POST":
        require(request.user, "edit register", tank.site_id)
    at = timezone.now()
    form = ProductChangeForm(sent(request), tank=tank, today=tank.site.day_of(at))
    context: dict[str, Any] = {}
    if form.is_bound and form.is_valid() and _possible(form, tank, at):
        if request.POST.get("step") == "store" and _is_as_shown(form, request.POST.get("shown")):
            stored = attempt(form, lambda: _store(form, tank, request, at))
            if stored:
                messages.success(request, stored)
                return redirect("plant:tank", pk=tank.pk)
        context = _shown(form, tank)
    return _page(request, form, tank, context)


def _possible(form: ProductChangeForm, tank: Tank, at: dt.datetime) -> bool:
    typed = form.cleaned_data
    product, celsius, on = (typed[name] for name in ("product_name", "celsius", "on"))
    try:
        refuse_wrong(tank, product=product, celsius=celsius, on=on, today=tank.site.day_of(at))
    except Refused as refusal:
        form.add_error(refusal.field, str(refusal))
        return False
    return True


def _is_as_shown(form: ProductChangeForm, shown: str | None) -> bool:
    if shown == form.mark:
        return True
    form.add_error(
        None, "This is not what was shown before. Look at what it does now, then store it."
    )
    return False


def _store(form: ProductChangeForm, tank: Tank, request: SignedRequest, at: dt.datetime) -> str:
    typed = form.cleaned_data
    stored, jobs = demands.change_product(
        tank,
        product=typed["product_name"],
        celsius=typed["celsius"],
        on=typed["on"],
        why=typed["why"],
        by=request.user,
        at=at,
    )
    return f"{tank.name} holds {contents_text(stored.product, stored.celsius)} now. {_asked(jobs)}"


def _asked(jobs: list[Job]) -> str:
    if not jobs:
        return "No recalibration is asked for."
    tags = ", ".join(job.point.tag for job in jobs)
    return f"Recalibration is asked for at {tags}."


def _shown(form: ProductChangeForm, tank: Tank) -> dict[str, Any]:
    effects = effects_of(
        tank, before=Contents.of(tank), after=form.contents, on=form.cleaned_data["on"]
    )
    return {
        "is_shown": True,
        "effects": effects,
        "mark": form.mark,
        "will_hold": contents_text(form.contents.product, form.contents.celsius),
    }


def _page(
    request: SignedRequest, form: ProductChangeForm, tank: Tank, context: dict[str, Any]
) -> HttpResponse:
    context |= {
        "tank": tank,
        "form": form,
        "may_edit": may(request.user, "edit register", tank.site_id),
        "changes": _so_far(tank),
        "shown": SHOWN,
        "holds": contents_text(tank.product, tank.product_c),
        "products": Product.objects.filter(site=tank.site).values_list("name", flat=True)[:OFFERED],
    }
    status = 422 if form.errors else 200
    return render(
        request, "calibration/product_changes/product_change.html", context, status=status
    )


def _so_far(tank: Tank) -> list[ListedChange]:
    """The latest changes with the jobs that were raised for them."""
    jobs = Prefetch("jobs", Job.objects.select_related("point").order_by("point__tag_key"))
    return in_words(tank.product_changes.prefetch_related(jobs), SHOWN)
