"""Points, tanks, products and sites: what is refused, what the ledger tells, and older forms."""

from decimal import Decimal

import pytest

from plant.ledger.models import LedgerEntry
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.points.refusals import InService, OutOfService, RangeOutsideTank, UnitOfAnotherQuantity
from plant.products import acts as products
from plant.products.columns import PRODUCT
from plant.products.models import Product
from plant.refusals import NotAllowed, ReasonMissing, RuleBroken
from plant.saving import Stale, mark_of
from plant.sites import acts as sites_acts
from plant.sites.models import Area, Site
from plant.tanks import acts as places
from plant.tanks.models import StrappingRow, Tank
from tests.makers import (
    TODAY,
    a_point,
    a_product,
    a_site,
    an_area,
    an_unsaved_point,
    an_unsaved_tank,
)

pytestmark = pytest.mark.django_db


def seen(point: MeasuringPoint) -> str:
    return mark_of(point, points.POINT_FIELDS)


def test_a_new_point_is_entered_with_its_range_and_due_date(planner):
    point = points.add(an_unsaved_point(), by=planner)
    assert (point.site, point.tag_key) == (point.tank.site, "lt-00000005")
    details = LedgerEntry.objects.get().details
    assert details == {"tank": "T-101", "range": "0 to 10 m", "due": TODAY.isoformat()}


@pytest.mark.parametrize(
    ("values", "field", "rule"),
    [
        ({"upper": Decimal(0)}, "upper", "range_values_differ"),
        (
            {"tolerance": Decimal(0), "adjust_limit": Decimal(0)},
            "tolerance",
            "tolerance_above_zero",
        ),
        ({"adjust_limit": Decimal(2)}, "adjust_limit", "adjust_limit_within_tolerance"),
        (
            {"tolerance_unit": "mA", "signal": "1-5V"},
            "tolerance_unit",
            "tolerance_in_ma_needs_a_current",
        ),
        ({"interval_months": 0}, "interval_months", "interval_between_1_and_120_months"),
        ({"tag": ""}, "tag", ""),
    ],
)
def test_a_point_that_breaks_a_rule_is_refused_beside_its_field(planner, values, field, rule):
    with pytest.raises(RuleBroken) as refusal:
        points.add(an_unsaved_point(**values), by=planner)
    assert (refusal.value.field, refusal.value.rule) == (field, rule)
    assert not MeasuringPoint.objects.exists()


def test_a_unit_of_the_other_quantity_is_refused(planner):
    with pytest.raises(UnitOfAnotherQuantity):
        points.add(an_unsaved_point(quantity="volume"), by=planner)


@pytest.mark.parametrize(
    ("field", "end", "value"), [("upper", "URV", "12.5"), ("lower", "LRV", "-0.5")]
)
def test_a_range_outside_its_tank_is_refused_with_what_would_fit(planner, field, end, value):
    with pytest.raises(RangeOutsideTank) as refusal:
        points.add(an_unsaved_point(**{field: Decimal(value)}), by=planner)
    it = refusal.value
    assert (it.field, it.end, it.value, it.unit) == (field, end, Decimal(value), "m")
    assert (it.lowest, it.highest) == ("0.000", "12.000")
    assert f"{end} {value} m lies outside tank T-101: levels in it" in str(it)
    assert not MeasuringPoint.objects.exists()


def test_a_second_tag_in_the_site_is_refused(planner):
    a_point("LT-5")
    with pytest.raises(RuleBroken) as refusal:
        points.add(an_unsaved_point(tank=Tank.objects.get()), by=planner)
    assert (refusal.value.field, refusal.value.rule) == ("tag", "tag_unique_in_its_site")


def test_a_change_tells_the_ledger_what_was_and_what_is(planner):
    point = a_point()
    mark = seen(point)
    point.note, point.upper = "gland replaced", Decimal("9")
    points.change(point, seen=mark, why="gauge glass moved", by=planner)
    entry = LedgerEntry.objects.get()
    assert entry.details == {
        "upper range value (URV)": ["8.3", "9"],
        "note": ["", "gland replaced"],
    }
    assert entry.why == "gauge glass moved"


def test_a_change_of_what_results_are_judged_by_needs_its_reason(planner):
    point = a_point()
    mark = seen(point)
    point.tolerance = Decimal(2)
    with pytest.raises(ReasonMissing) as refusal:
        points.change(point, seen=mark, by=planner)
    assert refusal.value.field == "why"
    point.refresh_from_db()
    point.note = "a note needs none"
    points.change(point, seen=mark, by=planner)


def test_an_older_form_is_refused_and_the_newer_row_stays(planner):
    point = a_point()
    mark = seen(point)
    MeasuringPoint.objects.update(note="changed meanwhile")
    point.note = "mine"
    with pytest.raises(Stale) as refusal:
        points.change(point, seen=mark, by=planner)
    assert refusal.value.stored.note == "changed meanwhile"
    assert MeasuringPoint.objects.get().note == "changed meanwhile"


def test_a_change_leaves_the_schedule_to_those_who_move_it(planner):
    point = a_point()
    mark = seen(point)
    later = TODAY.replace(year=TODAY.year + 1)
    MeasuringPoint.objects.update(due_on=later)
    point.note = "mine"
    points.change(point, seen=mark, by=planner)
    assert MeasuringPoint.objects.get().due_on == later


def test_out_of_service_and_back(planner):
    point = points.take_out_of_service(a_point(), on=TODAY, today=TODAY, why="relined", by=planner)
    assert MeasuringPoint.objects.get().out_of_service_why == "relined"
    with pytest.raises(OutOfService) as refusal:
        points.take_out_of_service(point, on=TODAY, today=TODAY, why="again", by=planner)
    assert (refusal.value.tag, refusal.value.since) == (point.tag, TODAY)
    points.put_back_in_service(point, by=planner)
    with pytest.raises(InService):
        points.put_back_in_service(point, by=planner)
    assert [e.act for e in LedgerEntry.objects.order_by("id")] == [
        "take out of service",
        "put back in service",
    ]


def test_only_a_planner_changes_the_register(technician, approver, outsider):
    point, product = a_point(), a_product()
    for person in (technician, approver, outsider):
        with pytest.raises(NotAllowed):
            points.take_out_of_service(point, on=TODAY, today=TODAY, why="x", by=person)
        with pytest.raises(NotAllowed):
            products.change(product, seen="", by=person)
        with pytest.raises(NotAllowed):
            places.change_tank(point.tank, area_name="x", seen="", by=person)


# ---- tanks ----
def test_a_tank_brings_its_area_along(planner):
    tank = places.add_tank(an_unsaved_tank(), area_name=" Soap  house ", by=planner)
    assert tank.area.name == "Soap house"
    assert LedgerEntry.objects.get().details["new area"] == "Soap house"


def test_an_area_is_found_however_it_is_capitalised(planner):
    an_area(name="Soap house")
    places.add_tank(an_unsaved_tank(), area_name="soap HOUSE", by=planner)
    assert Area.objects.count() == 1


def test_a_strapping_table_is_stored_and_replaced_with_its_tank(planner):
    rows = [(Decimal(0), Decimal(0)), (Decimal(2), Decimal(20))]
    tank = places.add_tank(
        an_unsaved_tank(shape="strapped"), area_name="Quay park", strapping=rows, by=planner
    )
    assert (tank.inside_height_m, tank.capacity_m3) == (2, 20)
    more = [*rows, (Decimal(3), Decimal(28))]
    places.change_tank(
        tank, area_name="Quay park", strapping=more, seen=places.mark_of_tank(tank), by=planner
    )
    assert StrappingRow.objects.count() == 3
    assert Tank.objects.get().capacity_m3 == 28
    assert LedgerEntry.objects.first().details["strapping table"] == ["2 rows", "3 rows"]


def test_an_older_strapping_table_is_not_stored_over_a_newer_one(planner):
    rows = [(Decimal(0), Decimal(0)), (Decimal(2), Decimal(20))]
    tank = places.add_tank(
        an_unsaved_tank(shape="strapped"), area_name="Quay park", strapping=rows, by=planner
    )
    mark = places.mark_of_tank(tank)
    StrappingRow.objects.filter(height=2).update(volume_m3=21)
    with pytest.raises(Stale):
        places.change_tank(tank, area_name="Quay park", strapping=rows, seen=mark, by=planner)


def test_a_tank_made_too_low_for_a_range_is_refused_naming_the_point(planner):
    tank = a_point().tank
    mark = places.mark_of_tank(tank)
    tank.height = Decimal(8)
    with pytest.raises(RuleBroken, match="The range of LT-101A lies outside the tank") as refusal:
        places.change_tank(tank, area_name="Quay park", seen=mark, by=planner)
    assert refusal.value.rule == "range_inside_tank"
    assert Tank.objects.get().height == 12


# ---- products and sites ----
def test_a_product_is_added_changed_and_kept_unique(planner):
    product = products.add(Product(site=a_site(), name="lye 32 %", conducts=True), by=planner)
    with pytest.raises(RuleBroken) as refusal:
        products.add(Product(site=a_site(), name="lye 32 %"), by=planner)
    assert refusal.value.rule == "product_name_unique_in_its_site"
    mark = mark_of(product, PRODUCT.fields)
    product.density = Decimal(1330)
    products.change(product, seen=mark, by=planner)
    assert LedgerEntry.objects.first().details == {"density, kg/m³": ["", "1330"]}


def test_who_adds_a_site_administers_it(administrator):
    site = sites_acts.add_site(
        Site(code="B", name="Brackholm", time_zone="Europe/Oslo"), by=administrator, on=TODAY
    )
    assert site.appointments.get().person == administrator
    assert LedgerEntry.objects.get().site == site


def test_a_site_is_added_by_an_administrator_only(planner):
    with pytest.raises(NotAllowed):
        sites_acts.add_site(
            Site(code="B", name="Brackholm", time_zone="Europe/Oslo"), by=planner, on=TODAY
        )


def test_planner_and_administrator_each_change_their_part_of_a_site(site, planner, administrator):
    mark = mark_of(site, sites_acts.PLANNED)
    site.crew_hours = Decimal(60)
    with pytest.raises(NotAllowed):
        sites_acts.change_site(site, fields=sites_acts.PLANNED, seen=mark, by=administrator)
    sites_acts.change_site(site, fields=sites_acts.PLANNED, seen=mark, by=planner)
    mark = mark_of(site, sites_acts.ADMINISTERED)
    site.time_zone = "Nowhere/Land"
    with pytest.raises(RuleBroken) as refusal:
        sites_acts.change_site(site, fields=sites_acts.ADMINISTERED, seen=mark, by=administrator)
    assert refusal.value.field == "time_zone"
