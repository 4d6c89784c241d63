"""Products and tanks from files."""

from __future__ import annotations

from decimal import Decimal

import pytest

from plant.importing.templates import csv_template, xlsx_template
from plant.ledger.models import LedgerEntry, RowHistory
from plant.products.models import Product
from plant.sites.models import Area
from plant.tanks.models import Tank
from tests.files import applied, reasons, send
from tests.makers import a_point, a_product, a_tank

pytestmark = pytest.mark.django_db

PRODUCTS = (
    "product,conducts,permittivity,permittivity at (°C),density (kg/m³)\n"
    "palm olein,no,3.05,40,900\nlye 32 %,yes,,,1349\n"
)
TANKS = (
    "area,tank,shape,diameter (m),height (m),roof,roof depth (m),product,strapping\n"
    "Quay park,T-101,vertical,11,12,cone,0.9,palm olein,\n"
    "quay park,T-102,vertical,11,12,,,,\n"
    "Mid park,T-131,strapped,,,,,,0:0; 0.5:12.3; 4:120\n"
)


def test_products_come_in_and_the_same_again_changes_nothing(site, planner):
    assert applied(PRODUCTS, by=planner, kind="products").rows_new == 2
    olein = Product.objects.get(name="palm olein")
    assert (olein.permittivity, olein.permittivity_c, olein.conducts) == (
        Decimal("3.05"),
        40,
        False,
    )
    again = send(PRODUCTS, by=planner, kind="products")
    assert (again.rows_new, again.rows_changed, again.rows_same) == (0, 0, 2)


def test_a_changed_product_keeps_what_the_file_does_not_tell(site, planner):
    a_product(name="palm olein", permittivity_per_k=Decimal("-0.004"))
    applied(
        "product,density (kg/m3)\npalm olein,905\n", by=planner, kind="products", why="lab sample"
    )
    olein = Product.objects.get()
    assert (olein.density, olein.permittivity_per_k) == (905, Decimal("-0.004"))
    assert RowHistory.objects.get(table_name="plant_product").before["density"] == 900


def test_impossible_products_are_refused_by_column(site, planner):
    text = "product,permittivity,density (kg/m3)\nbrine,0.9,0\n"
    assert [r[:2] for r in reasons(send(text, by=planner, kind="products"))] == [
        (2, "permittivity"), (2, "density (kg/m3)"),
    ]  # fmt: skip


def test_tanks_come_in_with_areas_geometry_and_strapping(site, planner):
    a_product()
    assert applied(TANKS, by=planner, kind="tanks").rows_new == 3
    assert sorted(Area.objects.values_list("name", flat=True)) == ["Mid park", "Quay park"]
    first, strapped = Tank.objects.get(name="T-101"), Tank.objects.get(name="T-131")
    assert first.inside_height_m == pytest.approx(12.9)
    assert first.product.name == "palm olein"
    assert (strapped.capacity_m3, strapped.strapping.count()) == (120, 3)
    again = send(TANKS, by=planner, kind="tanks")
    assert (again.rows_new, again.rows_changed, again.rows_same) == (0, 0, 3)
    assert LedgerEntry.objects.filter(act="import").count() == 1


def test_a_tanks_dimensions_have_one_unit(site, planner):
    text = "area,tank,shape,diameter (m),height (ft)\nQuay park,T-101,vertical,11,40\n"
    assert reasons(send(text, by=planner, kind="tanks"))[0][:2] == (2, "height (ft)")


def test_dimensions_are_kept_in_the_unit_of_the_file(site, planner):
    text = "area,tank,shape,diameter (ft),height (ft)\nQuay park,T-101,vertical,36,40\n"
    applied(text, by=planner, kind="tanks")
    tank = Tank.objects.get()
    assert (tank.unit, tank.diameter, tank.inside_height_m) == ("ft", 36, pytest.approx(12.192))


def test_tanks_that_make_no_volume_are_refused_with_what_is_missing(site, planner):
    rows = ["A,T-1,vertical,11,,", "A,T-2,strapped,,0:0; 1:x,", "A,T-3,sphere,3,,tar"]
    text = "\n".join(["area,tank,shape,diameter (m),strapping,product", *rows, ""])
    problems = {r[:2]: r[2] for r in reasons(send(text, by=planner, kind="tanks"))}
    assert set(problems) == {(2, "height (m)"), (3, "strapping"), (4, "product")}
    assert "1:x" in problems[3, "strapping"]


def test_a_tank_does_not_shrink_below_the_range_of_its_point(site, planner):
    a_point("LT-101A", a_tank(), lower=Decimal("0.3"), upper=Decimal("11.4"))
    text = "area,tank,shape,height (m)\nQuay park,T-101,vertical,10\n"
    (row, column, reason), *_ = reasons(send(text, by=planner, kind="tanks"))
    assert (row, column) == (2, "height (m)")
    assert reason.startswith("LT-101A: URV 11.4")


@pytest.mark.parametrize("write", [csv_template, xlsx_template])
@pytest.mark.parametrize("kind", ["products", "tanks"])
def test_the_example_file_comes_in_as_it_is(kind, write, site, planner):
    from calibration.importing.kinds import IMPORTERS

    a_product()
    batch = send(write(IMPORTERS[kind].layout), by=planner, kind=kind)
    assert reasons(batch) == []
    assert batch.report["warnings"] == []
