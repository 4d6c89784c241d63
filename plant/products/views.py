"""Products."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent, sites_for
from plant.people.permissions import require
from plant.products import acts as operations
from plant.products.forms import ProductForm
from plant.products.models import Product


@require_safe
def products(request: SignedRequest) -> HttpResponse:
    seen = sites_for(request, "see")
    rows = (
        Product.objects.seen_by(request.user)
        .select_related("site")
        .annotate(tank_count=Count("tanks"))
    )
    editable = request.user.site_ids("edit register")
    context = {
        "products": list(rows.order_by("site__name", "name")),
        "several": len(seen) > 1,
        "editable": editable,
    }
    return render(request, "plant/products/products.html", context)


@form_page
def new(request: SignedRequest) -> HttpResponse:
    sites_for(request, "edit register")
    form = ProductForm(sent(request), person=request.user)
    if accepted(form, lambda: operations.add(form.instance, by=request.user)):
        messages.success(request, f"{form.instance.name} is added.")
        return redirect("plant:products")
    return page(request, "plant/products/product_form.html", form)


@form_page
def edit(request: SignedRequest, pk: int) -> HttpResponse:
    product = get_object_or_404(Product.objects.seen_by(request.user).select_related("site"), pk=pk)
    require(request.user, "edit register", product.site_id)
    name = product.name
    form = ProductForm(sent(request), person=request.user, instance=product)
    if accepted(
        form,
        lambda: operations.change(form.instance, seen=form.cleaned_data["seen"], by=request.user),
    ):
        messages.success(request, f"{form.instance.name} is changed.")
        return redirect("plant:products")
    return page(request, "plant/products/product_form.html", form, product_name=name)
