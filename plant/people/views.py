"""People and their appointments, changed by an administrator."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, attempt, form_page, sent
from plant.people import acts as operations
from plant.people.forms import AppointmentForm, NewPersonForm, PasswordForm, PersonForm, WhyForm
from plant.people.models import Appointment, Person
from plant.people.page import (
    holds_now,
    managed_sites,
    people_at,
    person_of,
    person_page,
    today,
)


@require_safe
def people(request: SignedRequest) -> HttpResponse:
    rows = list(people_at(managed_sites(request)).order_by("-is_active", "name"))
    for row in rows:
        row.now = [a for a in row.roles_here if holds_now(a)]  # type: ignore[attr-defined]
    return render(request, "plant/people/people.html", {"people": rows})


@form_page
@sensitive_post_parameters("password")
def person_new(request: SignedRequest) -> HttpResponse:
    managed_sites(request)
    form = NewPersonForm(sent(request), person=request.user)
    if form.is_bound and form.is_valid():
        values = {name: form.cleaned_data[name] for name in ("password", "site", "role")}
        added = attempt(
            form, lambda: operations.add(form.instance, **values, on=today(), by=request.user)
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
    row = person_of(request, pk)
    form = PersonForm(sent(request), instance=row)
    if accepted(
        form,
        lambda: operations.change(form.instance, seen=form.cleaned_data["seen"], by=request.user),
    ):
        return _done(request, row, "The changes are stored.")
    return person_page(request, pk, data=form)


@require_POST
def appoint(request: SignedRequest, pk: int) -> HttpResponse:
    row = person_of(request, pk)
    form = AppointmentForm(request.POST, person=request.user, prefix="role")
    if accepted(form, lambda: operations.appoint(row, **form.cleaned_data, by=request.user)):
        return _done(request, row, f"{row.name} is appointed.")
    return person_page(request, pk, appointment=form)


@require_POST
def end_appointment(request: SignedRequest, pk: int) -> HttpResponse:
    rows = Appointment.objects.filter(site__in=managed_sites(request)).select_related(
        "person", "site"
    )
    appointment = get_object_or_404(rows, pk=pk)
    form = forms.Form(request.POST)
    if accepted(form, lambda: operations.end_appointment(appointment, on=today(), by=request.user)):
        return _done(request, appointment.person, "The role is ended.")
    return person_page(request, appointment.person_id, trouble=form)


@require_POST
@sensitive_post_parameters("new-password")
def password(request: SignedRequest, pk: int) -> HttpResponse:
    row = person_of(request, pk)
    form = PasswordForm(request.POST, prefix="new")
    if accepted(
        form, lambda: operations.set_password(row, **form.cleaned_data, on=today(), by=request.user)
    ):
        return _done(request, row, "The new password is set. Hand it over in person.")
    return person_page(request, pk, password=form)


@require_POST
def close(request: SignedRequest, pk: int) -> HttpResponse:
    """Close a leaver, or open a closed person again."""
    row = person_of(request, pk)
    form = WhyForm(request.POST, prefix="close")
    if accepted(form, lambda: _turn(row, form, request)):
        return _done(request, row, f"{row.name} is {'closed' if row.is_active else 'open again'}.")
    return person_page(request, pk, closing=form)


def _turn(row: Person, form: WhyForm, request: SignedRequest) -> Person:
    why = form.cleaned_data["why"]
    if row.is_active:
        return operations.close(row, why=why, on=today(), by=request.user)
    return operations.reopen(row, why=why, by=request.user)


def _done(request: SignedRequest, row: Person, message: str) -> HttpResponse:
    messages.success(request, message)
    return redirect("plant:person", pk=row.pk)
