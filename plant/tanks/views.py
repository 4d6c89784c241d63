"""Tanks: their list, the page drawn to scale, and their form."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from django.contrib import messages
from django.db.models import Count, F, FilteredRelation, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from plant.level.units import from_cubic_metres, from_metres
from plant.pages.digits import plain
from plant.pages.filters import Places
from plant.pages.paging import page_of, without_place
from plant.pages.requests import SignedRequest
from plant.pages.saving import OFFERED, attempt, form_page, page, sent, sites_for
from plant.people.permissions import may, require
from plant.points.geometry import (
    HeightLine,
    capacity,
    expected_signal,
    height_lines,
    inside_height,
    lowest_height,
    volume_at,
)
from plant.points.models import MeasuringPoint
from plant.product_changes.acts import contents_text, in_words
from plant.products.models import Product
from plant.quantities import quantity, with_unit
from plant.refusals import Refused
from plant.sites.models import Area
from plant.tanks import acts as operations
from plant.tanks.drawing import Drawing, DrawnPoint, draw_tank
from plant.tanks.filters import TankFilter
from plant.tanks.forms import TankForm
from plant.tanks.geometry import Geometry, geometry_of, outline_of
from plant.tanks.models import Tank
from plant.tanks.tables import TankTable
from plant.transmitters.models import Principle

FROM_BELOW = {Principle.HYDROSTATIC, Principle.DIFFERENTIAL_PRESSURE}
CHANGES_SHOWN = 5
TOUCHES_NOTHING = {Principle.RADAR, Principle.ULTRASONIC}


@require_safe
def tanks(request: SignedRequest) -> HttpResponse:
    sites_for(request, "see")
    places = Places.seen_by(request.user, timezone.now())
    seen = Tank.objects.seen_by(request.user)
    filtered = TankFilter(request.GET, seen, places=places)
    sort = TankTable.sort_from(request.GET.get("sort", ""))
    joined = Tank.objects.select_related("area", "product").annotate(point_count=Count("points"))
    listed = page_of(filtered.qs, TankTable.keys(sort), query=request.GET, joined=joined)
    context = {
        "table": TankTable(listed.rows, sort=sort),
        "page": listed,
        "filter": filtered,
        "query": without_place(request.GET),
        "may_edit": bool(request.user.site_ids("edit register")),
    }
    return render(request, "plant/tanks/tanks.html", context)


@dataclass(frozen=True)
class TankPoint:
    """A point of the tank's page: the row, its table of heights, and what it shows at the level
    asked for.
    """

    point: MeasuringPoint
    lines: list[HeightLine]
    shows: float | None


@require_safe
def tank(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(
        Tank.objects.seen_by(request.user).select_related("area", "product", "site"), pk=pk
    )
    points = list(_points_of(row))
    today = row.site.day_of(timezone.now())
    for point in points:
        point.due_state = point.state(today)
    context: dict[str, Any] = {
        "tank": row,
        "may_edit": may(request.user, "edit register", row.site_id),
        "product_changes": in_words(row.product_changes.all(), CHANGES_SHOWN),
    }
    try:
        geometry = geometry_of(row)
    except Refused as refusal:
        return render(request, "plant/tanks/tank.html", context | {"trouble": str(refusal)})
    asked, level, trouble = _level_asked_for(request, row, geometry)
    context |= {
        "asked": asked,
        "asked_trouble": trouble,
        "level": level,
        "volume": None if level is None else volume_at(geometry, level + row.datum_m),
        "tank_points": [_tank_point(point, geometry, level) for point in points],
        "drawing": _drawing(row, geometry, points, level),
        "share": None
        if level is None
        else 100 * volume_at(geometry, level + row.datum_m) / capacity(geometry),
    }
    return render(request, "plant/tanks/tank.html", context)


def _points_of(row: Tank) -> Any:
    present = FilteredRelation("installations", condition=Q(installations__removed_on=None))
    points = MeasuringPoint.objects.filter(tank=row).select_related("tank")
    return points.annotate(
        present=present,
        principle=F("present__transmitter__principle"),
        wiring=F("present__transmitter__wiring"),
        probe_mm=F("present__transmitter__probe_length_mm"),
        serial=F("present__transmitter__serial"),
        transmitter_id=F("present__transmitter_id"),
    )


def _level_asked_for(
    request: SignedRequest, row: Tank, geometry: Geometry
) -> tuple[str, float | None, str]:
    """What was typed, the level in metres above the datum plate, and what is wrong with it."""
    asked = request.GET.get("level", "").strip()
    if not asked:
        return "", None, ""
    low, high = lowest_height(geometry) - row.datum_m, inside_height(geometry) - row.datum_m
    try:
        level = float(Decimal(asked.replace("\u2212", "-")))
    except (InvalidOperation, ValueError):
        return asked, None, "Write a level in metres, such as 4.35."
    if not low <= level <= high:
        return (
            asked,
            None,
            f"Levels in this tank run from {quantity(low, 'm')} to {quantity(high, 'm')} m.",
        )
    return asked, level, ""


def _tank_point(point: MeasuringPoint, geometry: Geometry, level: float | None) -> TankPoint:
    shows = None
    if level is not None:
        applied = (
            from_cubic_metres(volume_at(geometry, level + point.tank.datum_m), point.unit)
            if point.quantity == "volume"
            else from_metres(level, point.unit)
        )
        shows = float(expected_signal(point, applied))
    return TankPoint(point, height_lines(point, geometry), shows)


def _drawing(row: Tank, geometry: Geometry, points: list[Any], level: float | None) -> Drawing:
    return draw_tank(
        outline_of(geometry),
        [_drawn(point, geometry, alone=len(points) == 1) for point in points],
        inside_height=inside_height(geometry),
        datum=row.datum_m,
        surface=level,
        surface_label="" if level is None else f"at {with_unit(quantity(level, 'm'), 'm')}",
        conducting=row.wall_conducts,
    )


def _drawn(point: Any, geometry: Geometry, *, alone: bool) -> DrawnPoint:
    lowest = lowest_height(geometry) - point.tank.datum_m
    lower, upper = (
        lowest if line.level is None else line.level for line in height_lines(point, geometry, 2)
    )
    signal = point.output
    # Beside several tags there is no room for the output too; the tables tell it.
    labels = [
        with_unit(plain(value), point.unit) + (f", {end:g} {signal.unit}" if alone else "")
        for value, end in ((point.lower, signal.low), (point.upper, signal.high))
    ]
    return DrawnPoint(
        tag=point.tag,
        lower=lower,
        upper=upper,
        reach=_reach(point, geometry, min(lower, upper)),
        bottom=point.principle in FROM_BELOW,
        lower_label=labels[0],
        upper_label=labels[1],
    )


def _reach(point: Any, geometry: Geometry, lowest: float) -> float | None:
    """Where the probe ends: by its length from the roof, but not above the lower end of the range,
    which it reaches.
    """
    if point.principle is None or point.principle in TOUCHES_NOTHING:
        return None
    if point.probe_mm is None:
        return lowest
    tip = max(inside_height(geometry) - float(point.probe_mm) / 1000, 0.0) - point.tank.datum_m
    return min(tip, lowest)


@form_page
def tank_new(request: SignedRequest) -> HttpResponse:
    person = request.user
    sites_for(request, "edit register")
    form = TankForm(sent(request), person=person)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        added = attempt(
            form,
            lambda: operations.add_tank(
                form.instance,
                area_name=values["area_name"],
                strapping=values["strapping"],
                by=person,
            ),
        )
        if added:
            messages.success(request, f"{added.name} is added to {added.area}.")
            return redirect("plant:tank", pk=added.pk)
    return page(request, "plant/tanks/tank_form.html", form, **_offered(form))


@form_page
def tank_edit(request: SignedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(
        Tank.objects.seen_by(request.user).select_related("area", "product", "site"), pk=pk
    )
    require(request.user, "edit register", row.site_id)
    name, holds = row.name, contents_text(row.product, row.product_c)
    form = TankForm(sent(request), person=request.user, instance=row)
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        saved = attempt(
            form,
            lambda: operations.change_tank(
                form.instance,
                area_name=values["area_name"],
                strapping=values["strapping"],
                seen=values["seen"],
                by=request.user,
            ),
        )
        if saved:
            messages.success(request, f"{saved.name} is changed.")
            return redirect("plant:tank", pk=saved.pk)
    context = {"tank": row, "tank_name": name, "holds": holds, **_offered(form)}
    return page(request, "plant/tanks/tank_form.html", form, **context)


def _offered(form: TankForm) -> dict[str, Any]:
    sites = [site.pk for site in form.sites]
    return {
        "areas": Area.objects.filter(site__in=sites).values_list("name", flat=True)[:OFFERED],
        "products": Product.objects.filter(site__in=sites).values_list("name", flat=True)[:OFFERED],
    }
