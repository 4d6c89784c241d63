"""A site keeps an administrator who will stay; accounts are closed and reopened with a reason."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.ledger.models import LedgerEntry
from plant.people import acts as people
from plant.people.models import Appointment, Person
from plant.people.refusals import (
    EndedAppointment,
    LastAdministrator,
    OpenAccount,
    RoleHeld,
    UnmanagedPerson,
    WeakPassword,
)
from plant.refusals import ReasonMissing, RuleBroken
from plant.saving import mark_of
from tests.makers import LONG_AGO, TODAY, a_person, a_site
from tests.races import at_once

pytestmark = pytest.mark.django_db

ONE_DAY = dt.timedelta(1)


def second_administrator(**more) -> Person:
    person = a_person("second")
    facts = {"site": a_site(), "role": "administrator", "starts_on": LONG_AGO, **more}
    person.appointments.create(**facts)
    return person


def end_role_of(person: Person, *, by: Person) -> None:
    people.end_appointment(person.appointments.get(role="administrator"), on=TODAY, by=by)


# ---- who counts as another administrator ----
@pytest.mark.parametrize(
    "other",
    [
        {"role": "planner"},
        {"ends_on": TODAY + 300 * ONE_DAY},
        {"starts_on": TODAY + ONE_DAY},
    ],
    ids=["a planner", "one whose role will end", "one whose role has not begun"],
)
def test_who_will_not_stay_as_administrator_leaves_the_site_without(administrator, other):
    second_administrator(**other)
    with pytest.raises(LastAdministrator):
        end_role_of(administrator, by=administrator)
    assert administrator.appointments.get().ends_on is None


def test_a_closed_administrator_or_one_of_another_site_is_no_other(administrator):
    second = second_administrator()
    Person.objects.filter(pk=second.pk).update(is_active=False)
    a_person("third", "administrator", site=a_site("N", "Neelghat"))
    with pytest.raises(LastAdministrator):
        end_role_of(administrator, by=administrator)


def test_another_role_of_the_last_administrator_may_end(administrator):
    given = administrator.appointments.create(site=a_site(), role="planner", starts_on=LONG_AGO)
    assert people.end_appointment(given, on=TODAY, by=administrator).ends_on == TODAY - ONE_DAY


@pytest.mark.django_db(transaction=True)
def test_of_two_administrators_who_end_each_other_one_stays(administrator):
    second = second_administrator()
    for _ in range(2):
        Appointment.objects.update(ends_on=None)
        at_once(
            lambda: end_role_of(second, by=administrator),
            lambda: end_role_of(administrator, by=second),
        )
        assert Appointment.objects.filter(role="administrator", ends_on=None).count() == 1


# ---- roles by the day ----
@pytest.mark.parametrize(("days", "held"), [(0, True), (1, False)])
def test_a_role_is_given_again_from_the_day_after_its_last(administrator, technician, days, held):
    technician.appointments.update(ends_on=TODAY)
    facts = {"site": a_site(), "role": "technician", "starts_on": TODAY + days * ONE_DAY}
    if held:
        with pytest.raises(RoleHeld):
            people.appoint(technician, **facts, by=administrator)
        return
    last_day = TODAY + 30 * ONE_DAY
    given = people.appoint(technician, **facts, ends_on=last_day, by=administrator)
    given.refresh_from_db()
    assert (given.starts_on, given.ends_on) == (TODAY + ONE_DAY, last_day)
    assert LedgerEntry.objects.get(act="appoint").details == {
        "role": "technician",
        "from": (TODAY + ONE_DAY).isoformat(),
        "until": last_day.isoformat(),
    }


def test_a_role_that_ends_later_is_ended_sooner_and_one_that_ended_is_not(
    administrator, technician
):
    given = technician.appointments.get()
    for day in (TODAY + ONE_DAY, TODAY):
        people.end_appointment(given, on=day, by=administrator)
        given.refresh_from_db()
        assert given.ends_on == day - ONE_DAY
    with pytest.raises(EndedAppointment) as refusal:
        people.end_appointment(given, on=TODAY, by=administrator)
    assert refusal.value.ends_on == TODAY - ONE_DAY


def test_an_appointment_ends_after_it_starts(administrator, technician):
    with pytest.raises(RuleBroken) as refusal:
        people.appoint(
            technician,
            site=a_site(),
            role="planner",
            starts_on=TODAY,
            ends_on=TODAY - ONE_DAY,
            by=administrator,
        )
    assert refusal.value.field == "ends_on"
    assert not technician.appointments.filter(role="planner").exists()


def test_a_role_that_is_none_is_given_to_nobody(administrator):
    person = Person(username="oquist", name="O. Quist")
    facts = {"password": "nine green herons", "site": a_site(), "on": TODAY}
    with pytest.raises(RuleBroken) as refusal:
        people.add(person, **facts, role="director", by=administrator)
    assert refusal.value.field == "role"


# ---- accounts ----
def test_an_account_is_closed_with_a_reason(administrator, technician):
    with pytest.raises(ReasonMissing):
        people.close(technician, why=" ", on=TODAY, by=administrator)
    technician.refresh_from_db()
    assert technician.is_active


def test_an_account_that_is_open_is_not_opened(administrator, technician):
    with pytest.raises(OpenAccount):
        people.reopen(technician, why="back", by=administrator)


def test_a_role_elsewhere_that_ended_does_not_stand_in_the_way(administrator, technician):
    technician.appointments.create(
        site=a_site("N", "Neelghat"), role="technician", starts_on=LONG_AGO, ends_on=TODAY - ONE_DAY
    )
    assert not people.close(technician, why="left", on=TODAY, by=administrator).is_active


def test_an_outsider_gives_nobody_a_password_or_a_name(outsider, technician):
    for act in (
        lambda: people.set_password(
            technician, password="nine green herons", on=TODAY, by=outsider
        ),
        lambda: people.change(technician, seen="", by=outsider),
        lambda: people.reopen(technician, why="back", by=outsider),
    ):
        with pytest.raises(UnmanagedPerson):
            act()


def test_a_weak_new_password_leaves_the_old_one(administrator, technician):
    with pytest.raises(WeakPassword):
        people.set_password(technician, password="short", on=TODAY, by=administrator)
    assert Person.objects.get(pk=technician.pk).check_password("correct horse")


def test_a_changed_person_keeps_the_rules_of_a_name(administrator, technician):
    mark = mark_of(technician, people.PERSON_FIELDS)
    technician.email = "not an address"
    with pytest.raises(RuleBroken) as refusal:
        people.change(technician, seen=mark, by=administrator)
    assert refusal.value.field == "email"
