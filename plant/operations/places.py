"""Sites, areas and tanks: added and changed. Nothing is deleted: what hangs on a place must stay traceable."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction

from plant.cells import digits
from plant.geometry import derive
from plant.ledger import enter
from plant.models import Appointment, Area, Person, Role, Site, StrappingRow, Tank
from plant.naming import natural_key
from plant.operations.saving import Stale, check, locked, mark_of, put, walls_speak
from plant.permissions import require
from plant.refusals import NotAllowed, Refused

PLANNED = ("crew_hours", "digest_at")
"""What a planner sets at a site; the rest is an administrator's."""
ADMINISTERED = ("name", "time_zone")

DIMENSIONS = (
    "diameter",
    "height",
    "length",
    "width",
    "bottom",
    "bottom_depth",
    "roof",
    "roof_depth",
)
TANK_FIELDS = (
    "area", "name", "shape", "unit", *DIMENSIONS, "datum", "lowest_level", "highest_level", "wall_conducts",
)  # fmt: skip
CONTENTS = ("product", "product_c")
"""Told with a new tank; afterwards each change has its day (product_changes.change_product)."""

Strapping = Sequence[tuple[Decimal, Decimal]]
"""(height above the lowest point in the tank's unit, volume in m³), rising."""


@transaction.atomic
def add_site(site: Site, *, by: Person, on: dt.date) -> Site:
    """Add a site. An administrator of any site may; he administers the new one from the day ``on``."""
    if not by.is_active or Role.ADMINISTRATOR not in by.roles:
        raise NotAllowed("Only an administrator may add a site.")
    check(site)
    with walls_speak():
        site.save()
    Appointment.objects.create(person=by, site=site, role=Role.ADMINISTRATOR, starts_on=on)
    enter(
        "add site", on=site, by=by, details={"time zone": site.time_zone, "administrator": by.name}
    )
    return site


@transaction.atomic
def change_site(site: Site, *, fields: Sequence[str], seen: str, by: Person) -> Site:
    """Store ``fields`` of the site: PLANNED need a planner there, ADMINISTERED an administrator."""
    for group, act in ((PLANNED, "plan"), (ADMINISTERED, "manage people")):
        if set(fields) & set(group):
            require(by, act, site.pk)
    stored = locked(site, seen=seen, fields=fields)
    changed = put(site, stored, fields)
    check(stored)
    with walls_speak():
        stored.save(update_fields=fields)
    enter("change site", on=stored, by=by, details=changed)
    return stored


@transaction.atomic
def rename_area(area: Area, *, seen: str, by: Person) -> Area:
    require(by, "edit register", area.site_id)
    stored = locked(area, seen=seen, fields=["name"])
    changed = put(area, stored, ["name"])
    check(stored)
    with walls_speak():
        stored.save(update_fields=["name"])
    enter("rename area", on=stored, by=by, details=changed)
    return stored


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
    """Store a tank's changed data, and its strapping table. Refused when a range would end up outside it.

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
    found = Area.objects.filter(site=site, name__iexact=name).first()
    if found:
        return found, False
    area = Area(site=site, name=name)
    if not name:
        raise Refused("Name the area the tank stands in.", field="area_name")
    check(area)
    area.save()
    return area, True


def _store(tank: Tank, strapping: Strapping, *, fields: Sequence[str] | None) -> None:
    tank.name_key = natural_key(tank.name)
    derive(tank, strapping)
    check(tank)
    with walls_speak():
        # Derived beside their dimensions; the database checks ranges against them.
        tank.save(update_fields=fields and [*fields, "name_key", "inside_height_m", "capacity_m3"])
        if strapping_of(tank) != list(strapping):
            tank.strapping.all().delete()
            StrappingRow.objects.bulk_create(
                StrappingRow(tank=tank, height=height, volume_m3=volume)
                for height, volume in strapping
            )
