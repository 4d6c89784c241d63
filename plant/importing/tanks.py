"""The tanks' file: a row is a tank with its dimensions, in one unit, or its strapping table."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from plant import parsers as v
from plant.columns import Column
from plant.importing.columns import Layout, Parsed, Problem
from plant.importing.importer import Context, Importer, Outcome
from plant.importing.rows import Plan, compare, value_text
from plant.level.units import LENGTH_UNITS
from plant.naming import natural_key
from plant.points.geometry import refuse_range_outside
from plant.points.models import MeasuringPoint
from plant.product_changes.models import ProductChange
from plant.products.columns import COLDEST, HOTTEST
from plant.products.models import Product
from plant.refusals import Refused
from plant.sites.models import Area
from plant.tanks.geometry import derive
from plant.tanks.models import StrappingRow, Tank

UNITS = ("m", *(unit for unit in LENGTH_UNITS if unit != "m"))
_length = v.decimal(7, 5, above=0)
_depth = v.decimal(7, 5, least=0)
_level = v.decimal(7, 5)

TANKS = Layout(
    key=("name",),
    columns=(
        Column("area", "area", v.name(80), required=True, examples=("Quay park", "Mid park")),
        Column(
            "tank", "name", v.name(40), required=True, is_name=True, examples=("T-101", "T-131")
        ),
        Column(
            "shape",
            "shape",
            v.word(Tank.Shape.values),
            required=True,
            examples=("vertical", "horizontal"),
        ),
        Column("diameter", "diameter", _length, units=UNITS, examples=("11", "2.6")),
        Column("height", "height", _length, units=UNITS, examples=("12",)),
        Column("length", "length", _length, units=UNITS, examples=("", "8.4")),
        Column("width", "width", _length, units=UNITS),
        Column("bottom", "bottom", v.word(Tank.End.values), examples=("", "dished")),
        Column("bottom depth", "bottom_depth", _depth, units=UNITS),
        Column("roof", "roof", v.word(Tank.End.values), examples=("cone",)),
        Column("roof depth", "roof_depth", _depth, units=UNITS, examples=("0.9",)),
        Column("other end", "far_end", v.word(Tank.End.values)),
        Column("other end depth", "far_end_depth", _depth, units=UNITS),
        Column("datum", "datum", _depth, units=UNITS, examples=("0.05",)),
        Column("lowest level", "lowest_level", _level, units=UNITS, examples=("0.3",)),
        Column("highest level", "highest_level", _level, units=UNITS, examples=("11.5",)),
        Column("wall conducts", "wall_conducts", v.yes_no, examples=("yes", "yes")),
        Column("product", "product", v.name(80), examples=("palm olein",)),
        Column(
            "product temperature",
            "product_c",
            v.decimal(4, 2, least=COLDEST, most=HOTTEST),
            units=("°C",),
            examples=("40",),
        ),
        Column("strapping", "strapping", v.strapping),
    ),
)
MEASURES = tuple(column.field for column in TANKS.columns if column.keeps_unit)
PLAIN = tuple(c.field for c in TANKS.columns if c.field not in ("area", "product", "strapping"))
STORED = (*PLAIN, "unit", "area", "product", "name_key", "inside_height_m", "capacity_m3")

Rows = list[tuple[Decimal, Decimal]]


class _Tanks:
    """The site's places and products, read once, and what the file makes of its tanks."""

    def __init__(self, parsed: Parsed, context: Context) -> None:
        self.parsed, self.site = parsed, context.site
        self.units = _units(parsed)
        self.areas = {area.name.casefold(): area for area in Area.objects.filter(site=self.site)}
        self.products = {p.name: p for p in Product.objects.filter(site=self.site)}
        tanks = Tank.objects.filter(site=self.site).select_related("area", "product")
        self.tanks = {(tank.name,): tank for tank in tanks}
        for tank in tanks:  # the rows of the file are put onto the tanks themselves
            tank.held = tank.product, tank.product_c  # type: ignore[attr-defined]
        self.strapping: dict[int, Rows] = defaultdict(list)
        rows = StrappingRow.objects.filter(tank__site=self.site).order_by("tank_id", "height")
        for tank_id, height, volume in rows.values_list("tank_id", "height", "volume_m3"):
            self.strapping[tank_id].append((height, volume))

    def outcome(self) -> Outcome:
        outcome = compare(
            self.parsed,
            PLAIN,
            stored=self.tanks,
            fresh=lambda place: Tank(site=self.site, unit=self.units[place] or "m"),
            more=self._more,
        )
        self._check_ranges(outcome.plan)
        self._warn_of_products(outcome.plan)
        return outcome

    def _more(self, tank: Tank, place: int) -> dict[str, list[str]]:
        what = self._unit(tank, place) | self._area(tank, place) | self._product(tank, place)
        what |= self._strapping(tank, place)
        # A wrong cell is refused already; a tank without its value would only repeat that.
        if not any((place, column.field) in self.parsed.wrong for column in TANKS.columns):
            self._derive(tank, place)
        return what

    def _unit(self, tank: Tank, place: int) -> dict[str, list[str]]:
        unit = self.units[place]
        if unit is None or unit == tank.unit:
            return {}
        for name in MEASURES:
            if getattr(tank, name) and self.parsed.column(name)[place] is None:
                reason = (
                    f"the register has this tank in {tank.unit}; to give it in {unit}, give this "
                    "too"
                )
                self.parsed.refuse(place, name, reason)
        was, tank.unit = tank.unit, unit
        return {"unit of the dimensions": [was, unit]}

    def _area(self, tank: Tank, place: int) -> dict[str, list[str]]:
        name = self.parsed.column("area")[place]
        if name is None:
            return {}
        area = self.areas.setdefault(name.casefold(), Area(site=self.site, name=name))
        if tank.pk and area.pk and tank.area_id == area.pk:
            return {}
        was = tank.area.name if tank.pk else ""
        tank.area = area
        return {"area": [was, area.name]}

    def _product(self, tank: Tank, place: int) -> dict[str, list[str]]:
        name = self.parsed.column("product")[place]
        if name is None:
            return {}
        product = self.products.get(name)
        if product is None:
            reason = (
                f"is no product of this site{v.nearest(name, self.products)}. Import or add "
                "it first"
            )
            self.parsed.refuse(place, "product", reason)
        if product is None or tank.product_id == product.pk:
            return {}
        was = tank.product.name if tank.product else ""
        tank.product = product
        return {"product": [was, name]}

    def _strapping(self, tank: Tank, place: int) -> dict[str, list[str]]:
        given = self.parsed.column("strapping")[place]
        was = self.strapping.get(tank.pk, []) if tank.pk else []
        tank.given_strapping = was if given is None else list(given)  # type: ignore[attr-defined]
        if given is None or list(given) == was:
            return {}
        return {"strapping": [_as_cell(was), _as_cell(list(given))]}

    def _derive(self, tank: Tank, place: int) -> None:
        tank.name_key = natural_key(tank.name)
        try:
            derive(tank, tank.given_strapping)  # type: ignore[attr-defined]
        except Refused as refusal:
            self.parsed.refuse(place, refusal.field or "shape", str(refusal))
            return
        low, high = tank.lowest_level, tank.highest_level
        if low is not None and high is not None and low >= high:
            self.parsed.refuse(place, "highest_level", "must be above the lowest level")

    def _warn_of_products(self, plan: Plan) -> None:
        for tank in filter(_moves_readings, plan.changed):
            place, held = plan.place_of(tank), tank.held[0]
            field = "product" if _is_change(held, tank.product) else "product_c"
            reason = (
                "changes what the tank holds: recalibration is asked wherever a reading follows it"
            )
            heading, cell = self.parsed.cell(place, field)
            self.parsed.warnings.append(Problem(self.parsed.rows[place], heading, cell, reason))

    def _check_ranges(self, plan: Plan) -> None:
        """A tank that shrinks must still hold the ranges of its measuring points."""
        if self.parsed.problems:
            return
        changed = {tank.pk: tank for tank in plan.changed}
        for point in MeasuringPoint.objects.filter(tank__in=changed):
            point.tank = changed[point.tank_id]
            try:
                refuse_range_outside(point)
            except Refused as refusal:
                place = plan.place_of(point.tank)
                self.parsed.refuse(
                    place, _measured_by(self.parsed, place), f"{point.tag}: {refusal}"
                )


def _moves_readings(tank: Tank) -> bool:
    """Whether the file gives a stored tank another product, or another temperature."""
    held, celsius = tank.held  # type: ignore[attr-defined]
    return _is_change(held, tank.product) or _is_change(celsius, tank.product_c)


def _is_change(was: object, now: object) -> bool:
    """What the register did not have yet is no change, only a gap that is filled."""
    return was is not None and was != now


def _units(parsed: Parsed) -> list[str | None]:
    """The one unit of each row's dimensions."""
    units: list[str | None] = []
    for place in range(len(parsed.rows)):
        found: str | None = None
        for name in MEASURES:
            if parsed.column(name)[place] is None:
                continue
            unit = parsed.column(f"{name}_unit")[place]
            if found and unit != found:
                reason = (
                    f"must be in {found} like the rest of the row; a tank's dimensions have "
                    "one unit"
                )
                parsed.refuse(place, name, reason)
            found = found or unit
        units.append(found)
    return units


def _measured_by(parsed: Parsed, place: int) -> str:
    given = [name for name in ("strapping", *MEASURES) if parsed.column(name)[place] is not None]
    return given[0] if given else "shape"


def _as_cell(rows: Rows) -> str:
    text = "; ".join(f"{value_text(height)}:{value_text(volume)}" for height, volume in rows)
    return text if len(text) <= 60 else f"{len(rows)} rows"


def _check(parsed: Parsed, context: Context) -> Outcome:
    return _Tanks(parsed, context).outcome()


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    plan: Plan = outcome.plan
    tanks = [*plan.new, *plan.changed]
    # One area may serve many tanks of the file.
    areas = {id(tank.area): tank.area for tank in tanks if tank.area.pk is None}
    Area.objects.bulk_create(areas.values())
    for tank in tanks:
        tank.area = tank.area  # takes over the id the area has by now
    Tank.objects.bulk_create(plan.new, batch_size=500)
    Tank.objects.bulk_update(plan.changed, STORED, batch_size=500)
    ProductChange.objects.bulk_create(_product_changes(plan, context), batch_size=500)
    StrappingRow.objects.filter(tank__in=plan.changed).delete()
    StrappingRow.objects.bulk_create(
        [
            StrappingRow(tank=tank, height=height, volume_m3=volume)
            for tank in tanks
            for height, volume in tank.given_strapping
        ],
        batch_size=2000,
    )


def _product_changes(plan: Plan, context: Context) -> list[ProductChange]:
    """Where a tank holds something else from now on; who is asked to recalibrate follows (see
    ``demanded_at``).
    """
    return [
        ProductChange(
            site=context.site,
            tank=tank,
            on=context.today,
            product_before=held,
            product=tank.product,
            celsius_before=held_c,
            celsius=tank.product_c,
        )
        for tank in filter(_moves_readings, plan.changed)
        for held, held_c in [tank.held]
    ]


TANK_IMPORTER = Importer(TANKS, _check, _write)
