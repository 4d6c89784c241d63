"""Tanks: added and changed. Nothing is deleted: what is installed on a tank must stay traceable."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction

from plant.cells import digits
from plant.ledger.writer import enter
from plant.naming import natural_key
from plant.people.models import Person
from plant.people.permissions import require
from plant.saving import Stale, check, constraint_messages, mark_of, put
from plant.sites.models import Area, Site
from plant.tanks.geometry import derive
from plant.tanks.models import StrappingRow, Tank
from plant.tanks.refusals import AreaMissing

DIMENSIONS = (
    "diameter",
    "height",
    "length",
    "width",
    "bottom",
    "bottom_depth",
    "roof",
    "roof_depth",
    "far_end",
    "far_end_depth",
)

TANK_FIELDS = (
    "area",
    "name",
    "shape",
    "unit",
    *DIMENSIONS,
    "datum",
    "lowest_level",
    "highest_level",
    "wall_conducts",
)

CONTENTS = ("product", "product_c")
"""Given with a new tank; afterwards each change has its day (product_changes.change_product)."""


Strapping = Sequence[tuple[Decimal, Decimal]]
"""(height above the lowest point in the tank's unit, volume in m³), rising."""


@transaction.atomic
def add_tank(tank: Tank, *, area_name: str, strapping: Strapping = (), by: Person) -> Tank:
    """Add a tank, and its area when the site has none of that name yet."""
    require(by, "edit register", tank.site_id)
    tank.area, is_new = _area(tank.site, area_name)
    _store(tank, strapping, fields=None)
    details = {
        "area": tank.area.name,
        "shape": tank.get_shape_display(),
        "capacity, m³": round(tank.capacity_m3, 3),
    }
    enter(
        "add tank",
        on=tank,
        by=by,
        details=details | ({"new area": tank.area.name} if is_new else {}),
    )
    return tank


@transaction.atomic
def change_tank(
    tank: Tank, *, area_name: str, strapping: Strapping = (), seen: str, by: Person
) -> Tank:
    """Store a tank's changed data, and its strapping table. Refused when a range would end up
    outside it.

    What it holds is no part of this: see product_changes.
    """
    require(by, "edit register", tank.site_id)
    stored = Tank.objects.select_for_update().get(pk=tank.pk)
    was = strapping_of(stored)
    if seen != mark_of_tank(stored):
        raise Stale(stored)
    tank.area, is_new = _area(tank.site, area_name)
    changed = put(tank, stored, TANK_FIELDS)
    _store(stored, strapping, fields=TANK_FIELDS)
    if was != list(strapping):
        changed["strapping table"] = [f"{len(was)} rows", f"{len(strapping)} rows"]
    if is_new:
        changed["new area"] = ["", stored.area.name]
    enter("change tank", on=stored, by=by, details=changed)
    return stored


def strapping_of(tank: Tank) -> list[tuple[Decimal, Decimal]]:
    return list(tank.strapping.order_by("height").values_list("height", "volume_m3"))


def mark_of_tank(tank: Tank) -> str:
    table = [(digits(height), digits(volume)) for height, volume in strapping_of(tank)]
    return mark_of(tank, TANK_FIELDS, table)


def _area(site: Site, name: str) -> tuple[Area, bool]:
    """The site's area of that name, however it is capitalised; a new one when there is none."""
    name = " ".join(name.split())
    area = Area.objects.filter(site=site, name__iexact=name).first()
    if area:
        return area, False
    area = Area(site=site, name=name)
    if not name:
        raise AreaMissing
    check(area)
    area.save()
    return area, True


def _store(tank: Tank, strapping: Strapping, *, fields: Sequence[str] | None) -> None:
    tank.name_key = natural_key(tank.name)
    derive(tank, strapping)
    check(tank)
    with constraint_messages():
        # Derived beside their dimensions; the database checks ranges against them.
        tank.save(update_fields=fields and [*fields, "name_key", "inside_height_m", "capacity_m3"])
        if strapping_of(tank) != list(strapping):
            tank.strapping.all().delete()
            StrappingRow.objects.bulk_create(
                StrappingRow(tank=tank, height=height, volume_m3=volume)
                for height, volume in strapping
            )
