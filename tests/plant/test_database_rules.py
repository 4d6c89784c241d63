"""Rules of the database at their edges, and what its triggers keep and count.

tests/database breaks every rule once, by its name.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection

from plant.ledger.models import LedgerEntry, RowHistory
from plant.ledger.writer import OutsideTransaction, enter
from plant.people.models import Person
from plant.points.models import DueCount, MeasuringPoint
from plant.transmitters.models import Installation
from tests.makers import (
    TODAY,
    a_person,
    a_point,
    a_site,
    a_tank,
    an_installation,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("wrong", "rule"),
    [
        ({"upper": Decimal("0.3")}, "range_values_differ"),
        ({"tolerance": 0, "adjust_limit": 0}, "tolerance_above_zero"),
        ({"adjust_limit": 2}, "adjust_limit_within_tolerance"),
        ({"unit": "m3"}, "unit_fits_the_quantity"),
        ({"interval_months": 0}, "interval_between_1_and_120_months"),
        ({"interval_months": 121}, "interval_between_1_and_120_months"),
        ({"interval_months": 1, "grace_days": 16}, "grace_below_half_the_interval"),
        ({"deferred_until": TODAY}, "deferred_beyond_the_due_date"),
        ({"anchor_on": TODAY}, "anchor_has_day_and_months_or_neither"),
        ({"out_of_service_on": TODAY}, "out_of_service_has_a_reason"),
        ({"tolerance_unit": "mA", "signal": "1-5V"}, "tolerance_in_ma_needs_a_current"),
        ({"upper": Decimal("12.5")}, "range_inside_tank"),
        ({"lower": Decimal("-0.1")}, "range_inside_tank"),
    ],
)
def test_a_point_that_breaks_a_rule_is_refused_by_the_database(wrong, rule):
    with pytest.raises(IntegrityError) as refusal:
        a_point(**wrong)
    assert refusal.value.__cause__.diag.constraint_name == rule


def test_a_tag_is_unique_in_its_site_only():
    a_point("LT-101A")
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    a_point("LT-101A", tank=a_tank("T-301", site=elsewhere))
    with pytest.raises(IntegrityError, match="tag_unique_in_its_site"):
        a_point("LT-101A")


def test_two_transmitters_never_hang_at_one_point_at_the_same_time():
    point = a_point()
    an_installation(point, installed_on=dt.date(2025, 1, 1), removed_on=dt.date(2026, 1, 1))
    an_installation(
        point, installed_on=dt.date(2026, 1, 1)
    )  # the day of the swap belongs to the new one
    with pytest.raises(IntegrityError, match="one_installation_per_point_at_a_time"):
        an_installation(point, installed_on=dt.date(2025, 12, 31), removed_on=dt.date(2026, 1, 2))


def test_a_bulk_change_by_plain_sql_leaves_the_former_rows_in_the_history():
    first, second = a_point("LT-101A"), a_point("LT-101B")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE plant_measuringpoint SET tolerance = 2")
    kept = RowHistory.objects.filter(table_name="plant_measuringpoint").order_by("row_id")
    assert [(row.row_id, row.act, row.before["tolerance"]) for row in kept] == [
        (first.pk, "update", 1.0),
        (second.pk, "update", 1.0),
    ]


def test_an_update_that_changes_nothing_leaves_no_history():
    a_point()
    MeasuringPoint.objects.update(note="")
    assert not RowHistory.objects.filter(table_name="plant_measuringpoint").exists()


def test_a_deleted_row_stays_in_the_history():
    installation = an_installation(a_point())
    Installation.objects.all().delete()
    kept = RowHistory.objects.get(table_name="plant_installation", act="delete")
    assert kept.before["id"] == installation.pk


def test_row_history_never_holds_a_password():
    person = a_person("tquillane")
    Person.objects.filter(pk=person.pk).update(name="T. Quillane-Reed", password="other")
    kept = RowHistory.objects.get(table_name="plant_person")
    assert kept.before["name"] == "Tquillane"
    assert "password" not in kept.before


def test_a_sign_in_is_no_change_of_a_person():
    person = a_person("tquillane")
    Person.objects.filter(pk=person.pk).update(last_login=dt.datetime(2026, 11, 2, tzinfo=dt.UTC))
    assert not RowHistory.objects.filter(table_name="plant_person").exists()


def test_a_ledger_entry_and_the_row_changes_share_their_transaction():
    point, person = a_point(), a_person("amarrowby")
    MeasuringPoint.objects.update(tolerance=2)
    entry = enter("change point", on=point, by=person, why="test")
    entry.refresh_from_db()
    assert (
        RowHistory.objects.get(table_name="plant_measuringpoint").transaction == entry.transaction
    )


@pytest.mark.parametrize("table", ["plant_ledgerentry", "plant_rowhistory"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_the_ledger_is_only_added_to(table, statement):
    point = a_point()
    enter("change point", on=point, by=None)
    MeasuringPoint.objects.update(tolerance=2)
    with pytest.raises(IntegrityError, match="never changed or deleted"), connection.cursor() as c:
        c.execute(statement.format(table))


@pytest.mark.django_db(transaction=True)
def test_an_entry_outside_a_transaction_is_refused():
    point = a_point()
    with pytest.raises(OutsideTransaction):
        enter("change point", on=point, by=None)
    assert not LedgerEntry.objects.exists()


def counts() -> dict[tuple[dt.date, bool], tuple[int, Decimal]]:
    rows = DueCount.objects.exclude(points=0)
    return {(row.next_due, row.is_deferred): (row.points, row.hours) for row in rows}


def test_due_counts_follow_every_change_of_the_points():
    later = TODAY + dt.timedelta(days=20)
    first = a_point("LT-101A")
    a_point("LT-101B")
    assert counts() == {(TODAY, False): (2, Decimal("3.0"))}
    MeasuringPoint.objects.filter(pk=first.pk).update(deferred_until=later)
    assert counts() == {(TODAY, False): (1, Decimal("1.5")), (later, True): (1, Decimal("1.5"))}
    MeasuringPoint.objects.update(out_of_service_on=TODAY, out_of_service_why="tank relined")
    assert counts() == {}
    MeasuringPoint.objects.update(
        out_of_service_on=None, due_on=later, deferred_until=None, job_hours=2
    )
    assert counts() == {(later, False): (2, Decimal("4.0"))}
    MeasuringPoint.objects.all().delete()
    assert counts() == {}


def test_a_set_after_a_single_row_is_kept_without_a_walk_through_its_square():
    """A session keeps the plan it made for one row; a nested loop kept so took minutes for
    20,000.
    """
    site = a_site()
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO plant_area (site_id, name) SELECT %s, n::text FROM generate_series(1, "
            "20000) n",
            [site.pk],
        )
        cursor.execute("UPDATE plant_area SET name = 'Quay park' WHERE name = '1'")
        cursor.execute("SET LOCAL statement_timeout = '20s'")
        cursor.execute("UPDATE plant_area SET name = 'east ' || name")
    assert RowHistory.objects.filter(table_name="plant_area").count() == 20_001
