"""The first and the last day on which an ended appointment still counts."""

from __future__ import annotations

import datetime as dt

import pytest

from plant.ledger.models import LedgerEntry
from plant.people import acts as people
from tests.makers import TODAY, a_site

pytestmark = pytest.mark.django_db

ONE_DAY = dt.timedelta(1)


@pytest.mark.parametrize(("days", "kept"), [(0, False), (1, True)])
def test_an_appointment_of_one_day_is_kept_and_of_none_is_withdrawn(
    administrator, technician, days, kept
):
    given = people.appoint(
        technician, site=a_site(), role="planner", starts_on=TODAY, by=administrator
    )
    people.end_appointment(given, on=TODAY + days * ONE_DAY, by=administrator)
    left = technician.appointments.filter(role="planner")
    assert list(left.values_list("ends_on", flat=True)) == ([TODAY] if kept else [])
    act = LedgerEntry.objects.latest("id").act
    assert (act == "withdraw appointment") is not kept


def test_a_role_holds_on_its_last_day_and_not_on_the_next(administrator, technician):
    appointment = technician.appointments.get()
    people.end_appointment(appointment, on=TODAY, by=administrator)
    assert not technician.appointments.in_force(TODAY).exists()
    assert technician.appointments.in_force(TODAY - ONE_DAY).exists()
