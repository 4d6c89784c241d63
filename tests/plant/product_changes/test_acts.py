"""A tank's change of product: dated, stored once, never written over somebody else's."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from plant.ledger.models import LedgerEntry
from plant.product_changes.acts import change_product
from plant.product_changes.models import ProductChange
from plant.product_changes.refusals import ChangedContents, LaterChange, SameContents
from plant.refusals import DayToCome, NotAllowed, OfAnotherSite, ReasonMissing
from plant.tanks.models import Tank
from tests.makers import NOON, TODAY, a_product, a_site, a_tank, soybean_oil

DAY = dt.timedelta(1)


def changed(by, tank=None, **other) -> ProductChange:
    values = {"celsius": Decimal(25), "on": TODAY, "why": "A ship of soybean oil.", "at": NOON}
    values = {"product": soybean_oil()} | values | other
    return change_product(tank or Tank.objects.get(), by=by, **values)


@pytest.fixture
def tank(site) -> Tank:
    return a_tank(product_c=Decimal(38))


def test_a_change_is_kept_with_its_day_and_the_tank_holds_it(planner, tank):
    change = changed(planner)
    stored = Tank.objects.get()
    assert (stored.product.name, stored.product_c) == ("soybean oil", 25)
    assert (change.on, change.product_before.name, change.celsius_before) == (TODAY, "palm olein", 38)  # fmt: skip
    assert change.demanded_at is None
    entry = LedgerEntry.objects.get(act="change of product")
    assert (entry.person, entry.subject, entry.why) == (planner, "T-101", "A ship of soybean oil.")
    assert entry.details["product"] == ["palm olein", "soybean oil"]
    assert entry.details["temperature, °C"] == ["38", "25"]


def test_the_same_product_at_another_temperature_is_a_change(planner, tank):
    assert changed(planner, product=tank.product, celsius=Decimal(45)).celsius_before == 38


@pytest.mark.parametrize(
    ("other", "field", "refusal_class"),
    [
        ({"on": TODAY + DAY}, "on", DayToCome),
        ({"why": "  "}, "why", ReasonMissing),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(planner, tank, other, field, refusal_class):
    with pytest.raises(refusal_class) as refusal:
        changed(planner, **other)
    assert refusal.value.field == field
    assert not ProductChange.objects.exists()


def test_what_changes_nothing_is_refused(planner, tank):
    with pytest.raises(SameContents) as refusal:
        changed(planner, product=tank.product, celsius=Decimal("38.00"))
    assert refusal.value.contents == "palm olein at 38\u00a0°C"


def test_a_day_before_the_last_change_is_refused_and_the_same_day_is_not(planner, tank):
    changed(planner, on=TODAY - DAY)
    with pytest.raises(LaterChange) as refusal:
        changed(planner, celsius=Decimal(30), on=TODAY - 2 * DAY)
    assert refusal.value.since == TODAY - DAY
    changed(planner, celsius=Decimal(30), on=TODAY - DAY)
    assert ProductChange.objects.count() == 2


def test_a_product_of_another_site_is_refused(planner, tank):
    theirs = a_product(a_site("N", "Neelghat", "Asia/Kolkata"), name="lye")
    with pytest.raises(OfAnotherSite):
        changed(planner, product=theirs)


def test_somebody_elses_change_is_not_written_over(planner, tank):
    before = Tank.objects.get()
    changed(planner)
    with pytest.raises(ChangedContents) as refusal:
        changed(planner, before, celsius=Decimal(40))
    assert refusal.value.contents == "soybean oil at 25\u00a0°C"
    assert ProductChange.objects.count() == 1


def test_only_a_planner_of_the_site_enters_it(technician, approver, outsider, tank):
    for person in (technician, approver, outsider):
        with pytest.raises(NotAllowed):
            changed(person)


def test_the_database_itself_refuses_a_change_that_changes_nothing(planner, tank):
    change = changed(planner)
    with (
        pytest.raises(IntegrityError, match="product_change_changes_something"),
        transaction.atomic(),
    ):
        ProductChange.objects.filter(pk=change.pk).update(
            product_before=change.product, celsius_before=change.celsius
        )
