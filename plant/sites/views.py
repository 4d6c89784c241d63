"""Sites and areas."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.pages.forms import RuleForm
from plant.pages.requests import SignedRequest
from plant.pages.saving import attempt, form_page, page, sent, sites_for
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.sites import acts as sites_acts
from plant.sites.forms import AdministeredSiteForm, NewSiteForm, PlannedSiteForm
from plant.sites.models import Site


@require_safe
def sites(request: SignedRequest) -> HttpResponse:
    seen = {*request.user.site_ids("see"), *request.user.site_ids("manage people")}
    editable = {*request.user.site_ids("plan"), *request.user.site_ids("manage people")}
    rows = list(Site.objects.filter(pk__in=seen).prefetch_related("areas"))
    for row in rows:
        row.may_edit = row.pk in editable  # type: ignore[attr-defined]
        row.may_rename = may(request.user, "edit register", row.pk)  # type: ignore[attr-defined]
    context = {
        "sites": rows,
        "may_add": bool(request.user.site_ids("manage people")),
        "may_see": bool(request.user.site_ids("see")),
    }
    return render(request, "plant/sites/sites.html", context)


@form_page
def site_new(request: SignedRequest) -> HttpResponse:
    sites_for(request, "manage people")
    form = NewSiteForm(sent(request))
    if form.is_bound and form.is_valid():
        today = timezone.now().date()
        added = attempt(form, lambda: sites_acts.add_site(form.instance, by=request.user, on=today))
        if added:
            messages.success(request, f"{added.name} is added. Appoint a planner for it next.")
            return redirect("plant:people")
    return page(request, "plant/sites/site_form.html", form)


@form_page
def site_edit(request: SignedRequest, pk: int) -> HttpResponse:
    """Crew hours and reminder time for a planner; name and time zone for an administrator."""
    person = request.user
    row = get_object_or_404(
        Site, pk__in={*person.site_ids("see"), *person.site_ids("manage people")} & {pk}
    )
    kinds = _forms_open_to(person, pk)
    name = row.name
    # A person with both roles sees both forms; each is saved by its own button.
    forms = [
        kind(sent(request) if f"{kind.prefix}-seen" in request.POST else None, instance=row)
        for kind in kinds
    ]
    if any(_is_saved(form, person) for form in forms):
        messages.success(request, "The site is changed.")
        return redirect("plant:sites")
    status = 422 if request.method == "POST" else 200
    return render(
        request, "plant/sites/site_edit.html", {"forms": forms, "site_name": name}, status=status
    )


def _forms_open_to(person: Person, site_id: int) -> list[type[RuleForm]]:
    kinds: list[type[RuleForm]] = []
    if may(person, "plan", site_id):
        kinds.append(PlannedSiteForm)
    if may(person, "manage people", site_id):
        kinds.append(AdministeredSiteForm)
    if not kinds:
        require(person, "plan", site_id)
    return kinds


def _is_saved(form: RuleForm, person: Person) -> bool:
    if not form.is_bound or not form.is_valid():
        return False
    values = {"fields": form._meta.fields, "seen": form.cleaned_data["seen"]}
    return bool(attempt(form, lambda: sites_acts.change_site(form.instance, **values, by=person)))
