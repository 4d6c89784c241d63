"""What a change of a row says: every field that differs, in the words of the page."""

from __future__ import annotations

import pytest
from django.db import transaction

from calibration.history.versions import (
    changes_between,
    entries_of,
    rows_changed_in,
    versions_of,
)
from calibration.standards.models import ReferenceStandard
from plant.ledger.models import LedgerEntry, RowHistory
from plant.people.models import Person
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.saving import mark_of
from plant.sites.models import Site
from plant.tanks.models import Tank
from plant.transmitters.models import Installation
from tests.makers import a_point, a_product, a_site


def said(model, before, after) -> list[tuple[str, str, str]]:
    return [(c.name, c.was, c.now) for c in changes_between(model, before, after)]


def test_a_changed_day_is_said_as_a_day():
    before = {"installed_on": "2026-01-31", "removed_on": None}
    after = {"installed_on": "2026-02-28", "removed_on": "2026-03-01"}
    changed = {(was, now) for _, was, now in said(Installation, before, after)}
    assert changed == {("31 Jan 2026", "28 Feb 2026"), ("–", "1 Mar 2026")}


def test_a_changed_yes_or_no_is_said_so():
    assert [c[1:] for c in said(Person, {"wants_mail": True}, {"wants_mail": False})] == [
        ("yes", "no")
    ]


def test_what_the_database_keeps_for_itself_is_no_change_and_hides_none():
    before = {"id": 1, "entered_at": "a", "entered_in": 1, "email": "a@marram.example"}
    after = {"id": 2, "entered_at": "b", "entered_in": 2, "email": "b@marram.example"}
    assert [c[1:] for c in said(Person, before, after)] == [
        ("a@marram.example", "b@marram.example")
    ]


def test_a_row_that_did_not_change_says_nothing():
    assert said(Person, {"name": "A. Marrowby"}, {"name": "A. Marrowby"}) == []


def test_a_number_is_said_without_the_noughts_that_nobody_typed():
    before, after = {"crew_hours": 40.0, "code": "M"}, {"crew_hours": 37.5, "code": "M"}
    assert [c[1:] for c in said(Site, before, after)] == [("40", "37.5")]
    assert [c[1:] for c in said(Site, {"crew_hours": 0.0}, {"crew_hours": None})] == [("0", "–")]


def test_a_choice_is_said_in_its_words():
    before, after = {"kind": "length"}, {"kind": "laser or steel tape"}
    [(name, was, now)] = said(ReferenceStandard, before, after)
    assert (name, was, now) == ("kind", "length", "laser or steel tape")
    [(_, was, now)] = said(Tank, {"shape": "strapped"}, {"shape": "vertical"})
    assert (was, now) == ("strapping table only", "vertical cylinder")


@pytest.mark.django_db
def test_another_row_is_said_by_its_name_and_a_lost_one_by_its_number():
    olein = a_product()
    [(name, was, now)] = said(Tank, {"product_id": None}, {"product_id": olein.pk})
    assert (name, was, now) == ("product", "–", "palm olein")
    [(_, was, now)] = said(Tank, {"product_id": olein.pk}, {"product_id": 999_999})
    assert (was, now) == ("palm olein", "number 999999")


def test_what_is_computed_from_the_dimensions_is_no_change_of_its_own():
    before = {"height": 12.0, "capacity_m3": 1140.4, "inside_height_m": 12.0}
    after = {"height": 13.0, "capacity_m3": 1235.4, "inside_height_m": 13.0}
    assert [c[1:] for c in said(Tank, before, after)] == [("12", "13")]


# ---- the rows of one transaction ----
@pytest.mark.django_db(transaction=True)
def test_the_rows_of_an_act_are_told_with_what_changed_and_those_of_other_sites_left_out(planner):
    point = a_point()
    mark = mark_of(point, points.POINT_FIELDS)
    point.tag = "LT-202"
    points.change(point, seen=mark, by=planner)
    entry = LedgerEntry.objects.get(act="change point")
    [row] = rows_changed_in(entry.transaction, site_ids=[point.site_id])
    assert (row.what, row.name, row.act) == ("measuring point", "LT-101A", "update")
    assert [(c.name, c.was, c.now) for c in row.changes] == [("tag", "LT-101A", "LT-202")]
    assert rows_changed_in(entry.transaction, site_ids=[]) == []
    assert entries_of([entry.transaction, 1]) == {entry.transaction: entry}


@pytest.mark.django_db(transaction=True)
def test_a_deleted_row_is_told_by_its_name_without_changes():
    point = a_point()
    with transaction.atomic():
        MeasuringPoint.objects.filter(pk=point.pk).delete()
    kept = RowHistory.objects.filter(table_name="plant_measuringpoint").latest("pk")
    rows = rows_changed_in(kept.transaction, site_ids=[point.site_id])
    [row] = [row for row in rows if row.what == "measuring point"]
    assert (row.name, row.act, row.changes) == ("LT-101A", "delete", [])


@pytest.mark.django_db(transaction=True)
def test_each_version_begins_where_the_one_before_it_ended():
    site = a_site()
    for hours in (10, 20):
        Site.objects.filter(pk=site.pk).update(crew_hours=hours)
    first, second, third = versions_of(Site, [site.pk])[site.pk]
    assert (first.until, second.until, third.until) == (second.since, third.since, None)
    assert [v.values["crew_hours"] for v in (second, third)] == [10, 20]
    assert first.transaction < second.transaction < third.transaction
    assert third.ended_by is None
    assert first.ended_by < second.ended_by
