"""People and their appointments: an administrator's pages."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, attempt, form_page, sent, sites_for
from plant.people import acts as operations
from plant.people.forms import AppointmentForm, NewPersonForm, PasswordForm, PersonForm, WhyForm
from plant.people.models import Appointment, Person


def _today() -> dt.date:
    return timezone.now().date()


def _managed(request: SignedRequest) -> list[int]:
    return sites_for(request, "manage people")


def _people(sites: list[int]) -> QuerySet[Person]:
    """Everybody with a role, past or present, at these sites; their roles there and nowhere
    else.
    """
    theirs = Appointment.objects.filter(site__in=sites).select_related("site")
    people = Person.objects.filter(appointments__site__in=sites).distinct()
    return people.prefetch_related(Prefetch("appointments", theirs, to_attr="roles_here"))


@require_safe
def people(request: SignedRequest) -> HttpResponse:
    rows = list(_people(_managed(request)).order_by("-is_active", "name"))
    for row in rows:
        row.now = [a for a in row.roles_here if _holds(a)]  # type: ignore[attr-defined]
    return render(request, "plant/people/people.html", {"people": rows})


def _holds(appointment: Appointment) -> bool:
    today = _today()
    return appointment.starts_on <= today and (
        appointment.ends_on is None or appointment.ends_on >= today
    )


@form_page
@sensitive_post_parameters("password")
def person_new(request: SignedRequest) -> HttpResponse:
    _managed(request)
    form = NewPersonForm(sent(request), person=request.user)
    if form.is_bound and form.is_valid():
        values = {name: form.cleaned_data[name] for name in ("password", "site", "role")}
        added = attempt(
            form, lambda: operations.add(form.instance, **values, on=_today(), by=request.user)
        )
        if added:
            messages.success(
                request,
                f"{added.name} may sign in as {added.username}. Hand over the password in person.",
            )
            return redirect("plant:person", pk=added.pk)
    status = 422 if form.is_bound else 200
    return render(request, "plant/people/person_new.html", {"form": form}, status=status)


@form_page
def person(request: SignedRequest, pk: int) -> HttpResponse:
    """A person's data and roles; the page's other forms post to addresses of their own."""
    row = _one(request, pk)
    form = PersonForm(sent(request), instance=row)
    if accepted(
        form,
        lambda: operations.change(form.instance, seen=form.cleaned_data["seen"], by=request.user),
    ):
        return _done(request, row, "The changes are stored.")
    return _page(request, pk, data=form)


@require_POST
def appoint(request: SignedRequest, pk: int) -> HttpResponse:
    row = _one(request, pk)
    form = AppointmentForm(request.POST, person=request.user, prefix="role")
    if accepted(form, lambda: operations.appoint(row, **form.cleaned_data, by=request.user)):
        return _done(request, row, f"{row.name} is appointed.")
    return _page(request, pk, appointment=form)


@require_POST
def end_appointment(request: SignedRequest, pk: int) -> HttpResponse:
    rows = Appointment.objects.filter(site__in=_managed(request)).select_related("person", "site")
    appointment = get_object_or_404(rows, pk=pk)
    form = forms.Form(request.POST)
    if accepted(
        form, lambda: operations.end_appointment(appointment, on=_today(), by=request.user)
    ):
        return _done(request, appointment.person, "The role is ended.")
    return _page(request, appointment.person_id, trouble=form)


@require_POST
@sensitive_post_parameters("new-password")
def password(request: SignedRequest, pk: int) -> HttpResponse:
    row = _one(request, pk)
    form = PasswordForm(request.POST, prefix="new")
    if accepted(form, lambda: operations.set_password(row, **form.cleaned_data, by=request.user)):
        return _done(request, row, "The new password is set. Hand it over in person.")
    return _page(request, pk, password=form)


@require_POST
def close(request: SignedRequest, pk: int) -> HttpResponse:
    """Close a leaver, or open a closed person again."""
    row = _one(request, pk)
    form = WhyForm(request.POST, prefix="close")
    if accepted(form, lambda: _turn(row, form, request)):
        return _done(request, row, f"{row.name} is {'closed' if row.is_active else 'open again'}.")
    return _page(request, pk, closing=form)


def _turn(row: Person, form: WhyForm, request: SignedRequest) -> Person:
    why = form.cleaned_data["why"]
    if row.is_active:
        return operations.close(row, why=why, on=_today(), by=request.user)
    return operations.reopen(row, why=why, by=request.user)


def _one(request: SignedRequest, pk: int) -> Person:
    return get_object_or_404(_people(_managed(request)), pk=pk)


def _done(request: SignedRequest, row: Person, message: str) -> HttpResponse:
    messages.success(request, message)
    return redirect("plant:person", pk=row.pk)


def _page(request: SignedRequest, pk: int, **given: Any) -> HttpResponse:
    row = _one(request, pk)
    for appointment in row.roles_here:  # type: ignore[attr-defined]
        appointment.holds = _holds(appointment)
        appointment.may_end = appointment.ends_on is None or appointment.ends_on >= _today()
    context = {
        "person": row,
        "data": PersonForm(instance=row),
        "appointment": AppointmentForm(
            person=request.user, prefix="role", initial={"starts_on": _today()}
        ),
        "password": PasswordForm(prefix="new"),
        "closing": WhyForm(prefix="close"),
        "trouble": None,
    } | given
    refused = any(form is not None and form.is_bound for form in given.values())
    return render(request, "plant/people/person.html", context, status=422 if refused else 200)
