"""The page of a person with all its forms, for an administrator."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from plant.pages.requests import SignedRequest
from plant.pages.saving import sites_for
from plant.people.forms import AppointmentForm, PasswordForm, PersonForm, WhyForm
from plant.people.models import Appointment, Person


def today() -> dt.date:
    return timezone.now().date()


def managed_sites(request: SignedRequest) -> list[int]:
    return sites_for(request, "manage people")


def people_at(sites: list[int]) -> QuerySet[Person]:
    """Everybody with a role, past or present, at these sites; their roles there and nowhere
    else.
    """
    theirs = Appointment.objects.filter(site__in=sites).select_related("site")
    people = Person.objects.filter(appointments__site__in=sites).distinct()
    return people.prefetch_related(Prefetch("appointments", theirs, to_attr="roles_here"))


def holds_now(appointment: Appointment) -> bool:
    day = today()
    return appointment.starts_on <= day and (
        appointment.ends_on is None or appointment.ends_on >= day
    )


def person_of(request: SignedRequest, pk: int) -> Person:
    return get_object_or_404(people_at(managed_sites(request)), pk=pk)


def person_page(request: SignedRequest, pk: int, **given: Any) -> HttpResponse:
    row = person_of(request, pk)
    for appointment in row.roles_here:  # type: ignore[attr-defined]
        appointment.holds = holds_now(appointment)
        appointment.may_end = appointment.ends_on is None or appointment.ends_on >= today()
    context = {
        "person": row,
        "data": PersonForm(instance=row),
        "appointment": AppointmentForm(
            person=request.user, prefix="role", initial={"starts_on": today()}
        ),
        "password": PasswordForm(prefix="new"),
        "closing": WhyForm(prefix="close"),
        "trouble": None,
    } | given
    refused = any(form is not None and form.is_bound for form in given.values())
    return render(request, "plant/people/person.html", context, status=422 if refused else 200)
