"""People and their appointments. A leaver is closed, never deleted. Nobody gives himself a role
that makes records.
"""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from plant.ledger.writer import enter
from plant.people.models import Appointment, AppointmentQuerySet, Person
from plant.people.permissions import require
from plant.people.refusals import (
    EndedAppointment,
    LastAdministrator,
    OpenAccount,
    OwnAccount,
    OwnRole,
    PasswordOfOthers,
    RoleHeld,
    RolesElsewhere,
    UnmanagedPerson,
    WeakPassword,
)
from plant.people.roles import Role
from plant.refusals import ReasonMissing
from plant.saving import check, constraint_messages, locked, put
from plant.sites.models import Site

PERSON_FIELDS = ("name", "email", "wants_mail")


@transaction.atomic
def add(person: Person, *, password: str, site: Site, role: str, on: dt.date, by: Person) -> Person:
    """Add a person with a first role at a site where ``by`` is administrator, from the day
    ``on``.
    """
    require(by, "manage people", site.pk)
    _set_password(person, password)
    check(person)
    with constraint_messages():
        person.save()
    first = Appointment(person=person, site=site, role=role, starts_on=on)
    check(first)
    first.save()
    details = {"user name": person.username, "role": role, "from": on.isoformat()}
    enter("add person", on=person, site=site, by=by, details=details)
    return person


@transaction.atomic
def change(person: Person, *, seen: str, by: Person) -> Person:
    site = _managed_site(person, by)
    stored = locked(person, seen=seen, fields=PERSON_FIELDS)
    changed = put(person, stored, PERSON_FIELDS)
    check(stored)
    stored.save(update_fields=PERSON_FIELDS)
    enter("change person", on=stored, site=site, by=by, details=changed)
    return stored


@transaction.atomic
def set_password(person: Person, *, password: str, on: dt.date, by: Person) -> Person:
    """Give a person a new password; sessions opened with the old one end.

    Refused where the person also works at sites of other administrators: they would sign there.
    """
    site = _managed_site(person, by)
    person = Person.objects.select_for_update().get(pk=person.pk)
    # A role that begins tomorrow counts: the password would still be known then.
    if names := _sites_elsewhere(person.appointments.not_ended(on), by):
        raise PasswordOfOthers(person=person, sites=names)
    _set_password(person, password)
    person.save(update_fields=["password"])
    enter("set password", on=person, site=site, by=by)
    return person


def _sites_elsewhere(appointments: AppointmentQuerySet, by: Person) -> str:
    """Those of their sites at which ``by`` is no administrator, by name; "" for none."""
    held = set(appointments.values_list("site_id", flat=True))
    elsewhere = Site.objects.filter(pk__in=held - _managed(by))
    return ", ".join(elsewhere.values_list("name", flat=True))


@transaction.atomic
def close(person: Person, *, why: str, on: dt.date, by: Person) -> Person:
    """Close a leaver: no sign-in from now on. The name stays on everything signed."""
    site = _managed_site(person, by)
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.pk == by.pk:
        raise OwnAccount
    if not why.strip():
        raise ReasonMissing("for example, left on 31 October")
    if names := _sites_elsewhere(person.appointments.in_force(on), by):
        raise RolesElsewhere(person=person, sites=names)
    for appointment in person.appointments.in_force(on).filter(role=Role.ADMINISTRATOR):
        _refuse_last_administrator(appointment, on)
    person.is_active = False
    person.save(update_fields=["is_active"])
    enter("close person", on=person, site=site, by=by, why=why)
    return person


@transaction.atomic
def reopen(person: Person, *, why: str, by: Person) -> Person:
    site = _managed_site(person, by)
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.is_active:
        raise OpenAccount(person=person)
    if not why.strip():
        raise ReasonMissing
    person.is_active = True
    person.save(update_fields=["is_active"])
    enter("reopen person", on=person, site=site, by=by, why=why)
    return person


@transaction.atomic
def appoint(
    person: Person,
    *,
    site: Site,
    role: str,
    starts_on: dt.date,
    ends_on: dt.date | None = None,
    by: Person,
) -> Appointment:
    """Give ``person`` a role at a site; an ended appointment to the same role is opened again."""
    require(by, "manage people", site.pk)
    if person.pk == by.pk and role != Role.ADMINISTRATOR:
        raise OwnRole
    rows = Appointment.objects.select_for_update().filter(person=person, site=site, role=role)
    appointment = rows.first() or Appointment(person=person, site=site, role=role)
    if appointment.pk and (appointment.ends_on is None or appointment.ends_on >= starts_on):
        raise RoleHeld(person=person, role=role)
    appointment.starts_on, appointment.ends_on = starts_on, ends_on
    check(appointment)
    with constraint_messages():
        appointment.save()
    details = {
        "role": role,
        "from": starts_on.isoformat(),
        "until": ends_on.isoformat() if ends_on else "",
    }
    enter("appoint", on=person, site=site, by=by, details=details)
    return appointment


@transaction.atomic
def end_appointment(
    appointment: Appointment, *, on: dt.date, by: Person, why: str = ""
) -> Appointment:
    """End a role with the day before ``on``: from ``on`` the person no longer holds it."""
    require(by, "manage people", appointment.site_id)
    appointment = (
        Appointment.objects.select_for_update(of=("self",))
        .select_related("person", "site")
        .get(pk=appointment.pk)
    )
    if appointment.ends_on is not None and appointment.ends_on < on:
        raise EndedAppointment(appointment.ends_on)
    if appointment.role == Role.ADMINISTRATOR:
        _refuse_last_administrator(appointment, on)
    last_day = on - dt.timedelta(days=1)
    details = {"role": appointment.role, "last day": last_day.isoformat()}
    if last_day < appointment.starts_on:
        # It never came into force: nothing was done under it. The row history keeps it.
        enter(
            "withdraw appointment",
            on=appointment.person,
            site=appointment.site,
            by=by,
            why=why,
            details=details,
        )
        appointment.delete()
        return appointment
    appointment.ends_on = last_day
    check(appointment)
    appointment.save(update_fields=["ends_on"])
    enter(
        "end appointment",
        on=appointment.person,
        site=appointment.site,
        by=by,
        why=why,
        details=details,
    )
    return appointment


def _refuse_last_administrator(appointment: Appointment, on: dt.date) -> None:
    # Locked, so that two administrators cannot end each other in the same moment.
    Site.objects.select_for_update().get(pk=appointment.site_id)
    others = Appointment.objects.in_force(on).filter(
        site_id=appointment.site_id, role=Role.ADMINISTRATOR, ends_on=None, person__is_active=True
    )
    if not others.exclude(person_id=appointment.person_id).exists():
        raise LastAdministrator(site=appointment.site)


def _managed(by: Person) -> set[int]:
    return set(by.site_ids("manage people"))


def _managed_site(person: Person, by: Person) -> Site:
    """A site of this person that ``by`` administers; the ledger entry is kept there."""
    site = Site.objects.filter(appointments__person=person, pk__in=_managed(by)).first()
    if site is None:
        raise UnmanagedPerson(person=person)
    return site


def _set_password(person: Person, password: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise WeakPassword(reason=" ".join(error.messages)) from error
    person.set_password(password)
