"""People and appointments: nobody gives himself a role that makes records; a site keeps its
administrator.
"""

import datetime as dt

import pytest
from django.contrib.auth import authenticate
from django.test import RequestFactory

from plant.ledger.models import LedgerEntry
from plant.people import acts as people
from plant.people.models import Appointment, Person
from plant.people.refusals import (
    LastAdministrator,
    OwnAccount,
    OwnRole,
    PasswordOfOthers,
    RoleHeld,
    RolesElsewhere,
    UnmanagedPerson,
    WeakPassword,
)
from plant.refusals import NotAllowed, ReasonMissing, RuleBroken
from plant.saving import Stale, mark_of
from tests.makers import LONG_AGO, TODAY, a_person, a_site

pytestmark = pytest.mark.django_db

GOOD = "nine green herons"
TOMORROW = TODAY + dt.timedelta(1)


def added(by: Person, **more) -> Person:
    values = {"password": GOOD, "site": a_site(), "role": "technician", "on": LONG_AGO}
    return people.add(Person(username="oquist", name="O. Quist"), **(values | more), by=by)


def test_a_new_person_may_sign_in_and_holds_the_first_role(administrator):
    person = added(administrator)
    assert authenticate(RequestFactory().post("/"), username="oquist", password=GOOD) == person
    assert person.roles == {"technician"}
    entry = LedgerEntry.objects.get()
    assert (entry.act, entry.site, entry.subject) == ("add person", a_site(), "O. Quist")
    assert GOOD not in str(entry.details)


@pytest.mark.parametrize("password", ["short", "O. Quist 12345", "password1234"])
def test_a_weak_password_is_refused(administrator, password):
    with pytest.raises(WeakPassword) as refusal:
        added(administrator, password=password)
    assert refusal.value.field == "password"
    assert not Person.objects.filter(username="oquist").exists()


def test_a_user_name_serves_one_person_only(administrator):
    added(administrator)
    with pytest.raises(RuleBroken) as refusal:
        added(administrator)
    assert refusal.value.field == "username"


@pytest.mark.parametrize("who", ["planner", "approver", "outsider"])
def test_only_an_administrator_of_the_site_manages_people(who, request, technician):
    person = request.getfixturevalue(who)
    with pytest.raises(NotAllowed):
        added(person)
    with pytest.raises(NotAllowed):
        people.appoint(technician, site=a_site(), role="planner", starts_on=TODAY, by=person)


@pytest.mark.parametrize("role", ["planner", "technician", "approver", "auditor"])
def test_nobody_gives_himself_a_role_that_makes_or_judges_records(administrator, role):
    with pytest.raises(OwnRole):
        people.appoint(administrator, site=a_site(), role=role, starts_on=TODAY, by=administrator)


def test_an_ended_appointment_is_opened_again(administrator, technician):
    appointment = technician.appointments.get()
    people.end_appointment(appointment, on=TODAY, by=administrator)
    assert Appointment.objects.get(pk=appointment.pk).ends_on == TODAY - dt.timedelta(1)
    people.appoint(technician, site=a_site(), role="technician", starts_on=TODAY, by=administrator)
    assert Appointment.objects.get(pk=appointment.pk).ends_on is None


def test_a_role_somebody_holds_is_not_given_twice(administrator, technician):
    with pytest.raises(RoleHeld) as refusal:
        people.appoint(
            technician, site=a_site(), role="technician", starts_on=TODAY, by=administrator
        )
    assert (refusal.value.person, refusal.value.role) == (technician, "technician")


def test_an_appointment_that_never_came_into_force_is_withdrawn(administrator, technician):
    people.appoint(technician, site=a_site(), role="planner", starts_on=TOMORROW, by=administrator)
    people.end_appointment(technician.appointments.get(role="planner"), on=TODAY, by=administrator)
    assert not technician.appointments.filter(role="planner").exists()
    assert LedgerEntry.objects.first().act == "withdraw appointment"


def test_a_site_keeps_an_administrator(administrator):
    with pytest.raises(LastAdministrator) as refusal:
        people.end_appointment(administrator.appointments.get(), on=TODAY, by=administrator)
    assert refusal.value.site == a_site()
    second = a_person("second", "administrator")
    people.end_appointment(administrator.appointments.get(), on=TODAY, by=second)


def test_the_last_administrator_cannot_be_closed_by_one_of_another_site(administrator, outsider):
    with pytest.raises(UnmanagedPerson):
        people.close(administrator, why="left", on=TODAY, by=outsider)


def test_the_last_administrator_cannot_be_closed_by_one_whose_own_role_will_end(administrator):
    leaver = a_person("second")
    last_day = TODAY + dt.timedelta(365)
    leaver.appointments.create(
        site=a_site(), role="administrator", starts_on=LONG_AGO, ends_on=last_day
    )
    with pytest.raises(LastAdministrator) as refusal:
        people.close(administrator, why="left", on=TODAY, by=leaver)
    assert refusal.value.site == a_site()
    administrator.refresh_from_db()
    assert administrator.is_active
    a_person("third", "administrator")
    assert not people.close(administrator, why="left", on=TODAY, by=leaver).is_active


def test_a_closed_person_cannot_sign_in_and_can_be_opened_again(administrator):
    person = added(administrator)
    people.close(person, why="left on 31 October", on=TODAY, by=administrator)
    assert authenticate(RequestFactory().post("/"), username="oquist", password=GOOD) is None
    with pytest.raises(ReasonMissing):
        people.reopen(person, why=" ", by=administrator)
    people.reopen(person, why="came back", by=administrator)
    assert authenticate(RequestFactory().post("/"), username="oquist", password=GOOD) == person


def test_nobody_closes_himself(administrator):
    with pytest.raises(OwnAccount):
        people.close(administrator, why="left", on=TODAY, by=administrator)


def test_a_person_who_works_elsewhere_too_is_not_closed_from_here(administrator, technician):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    Appointment.objects.create(
        person=technician, site=elsewhere, role="technician", starts_on=LONG_AGO
    )
    with pytest.raises(RolesElsewhere) as refusal:
        people.close(technician, why="left", on=TODAY, by=administrator)
    assert refusal.value.sites == "Neelghat"


def test_a_new_password_replaces_the_old_one(administrator):
    person = added(administrator)
    people.set_password(person, password="seven grey geese", on=TODAY, by=administrator)
    assert authenticate(RequestFactory().post("/"), username="oquist", password=GOOD) is None


def test_a_password_is_not_set_by_an_administrator_of_one_of_several_sites(
    administrator, technician
):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    role = Appointment.objects.create(
        person=technician, site=elsewhere, role="approver", starts_on=LONG_AGO
    )
    before = Person.objects.get(pk=technician.pk).password
    with pytest.raises(PasswordOfOthers) as refusal:
        people.set_password(technician, password="seven grey geese", on=TODAY, by=administrator)
    assert refusal.value.sites == "Neelghat"
    assert Person.objects.get(pk=technician.pk).password == before
    role.starts_on = TODAY + dt.timedelta(days=1)
    role.save()
    with pytest.raises(PasswordOfOthers):
        people.set_password(technician, password="seven grey geese", on=TODAY, by=administrator)
    role.starts_on, role.ends_on = LONG_AGO, TODAY - dt.timedelta(days=1)
    role.save()
    people.set_password(technician, password="seven grey geese", on=TODAY, by=administrator)


def test_who_left_this_site_for_another_gets_no_password_from_here(administrator, technician):
    technician.appointments.update(ends_on=TODAY - dt.timedelta(days=1))
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    Appointment.objects.create(
        person=technician, site=elsewhere, role="approver", starts_on=LONG_AGO
    )
    with pytest.raises(PasswordOfOthers):
        people.set_password(technician, password="seven grey geese", on=TODAY, by=administrator)


def test_an_older_form_about_a_person_is_refused(administrator, technician):
    mark = mark_of(technician, people.PERSON_FIELDS)
    Person.objects.filter(pk=technician.pk).update(email="new@marram.example")
    technician.name = "T. Quillane-Moss"
    with pytest.raises(Stale):
        people.change(technician, seen=mark, by=administrator)
