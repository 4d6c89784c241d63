"""From the register's rows to the probe and the product of the pure cores, and what such a probe
should measure.

What the register does not hold is refused by name (Lacking): a page then says which datum is
missing, and nothing is guessed in its place. A probe is taken to stand on the tank's axis, upright,
hung from the roof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal

from plant.level.probes import (
    AIR,
    CONDUCTING,
    Probe,
    Shift,
    build_up_shift,
    capacitance_at,
    coating_shift,
    per_metre,
    permittivity_at,
    permittivity_shift,
)
from plant.points.geometry import inside_height, level_at
from plant.points.models import MeasuringPoint
from plant.products.models import Product
from plant.tanks.geometry import Geometry
from plant.tanks.models import Tank
from plant.transmitters.models import Principle, Transmitter

CAPACITANCE = frozenset({Principle.CAPACITANCE_ROD, Principle.CAPACITANCE_ROPE})
STEP = 0.1  # of permittivity
KELVINS = 10.0
FILM_M, CRUST_M, CRUST_PERMITTIVITY = 0.1, 0.001, 2.5  # usual sizes to judge by; no source


class Lacking(Exception):
    """What is wanted cannot be computed: the text names the datum that the register lacks, or what
    is against it.
    """


@dataclass(frozen=True)
class Contents:
    """What a tank holds: a product, and its temperature where that is known."""

    product: Product | None
    celsius: Decimal | None

    @classmethod
    def of(cls, tank: Tank) -> Contents:
        return cls(tank.product, tank.product_c)

    @property
    def conducts(self) -> bool:
        return self.product is not None and self.product.conducts

    @property
    def permittivity(self) -> float:
        """At its temperature; CONDUCTING for a conducting liquid. Raises Lacking."""
        product = self._named()
        if product.conducts:
            return CONDUCTING
        if product.permittivity is None:
            raise Lacking(f"the permittivity of {product.name}")
        reference = float(product.permittivity_c)
        try:
            return permittivity_at(
                float(product.permittivity),
                at=reference,
                celsius=reference if self.celsius is None else float(self.celsius),
                per_kelvin=float(product.permittivity_per_k),
            )
        except ValueError as error:
            raise Lacking(
                f"a permittivity of {product.name} that holds at {self.celsius} °C"
            ) from error

    @property
    def density(self) -> float:
        """At its temperature, kg/m³. Raises Lacking."""
        product = self._named()
        if product.density is None:
            raise Lacking(f"the density of {product.name}")
        warmer = 0.0 if self.celsius is None else float(self.celsius - product.density_c)
        density = float(product.density) + float(product.density_per_k) * warmer
        if density <= 0:
            raise Lacking(f"a density of {product.name} that holds at {self.celsius} °C")
        return density

    def _named(self) -> Product:
        if self.product is None:
            raise Lacking("which product stood in the tank")
        return self.product


# ---- the probe ----
def probe_of(device: Transmitter, point: MeasuringPoint, geometry: Geometry) -> Probe:
    """The capacitance probe of ``device`` as installed at ``point``. Raises Lacking.

    Its tip hangs its length below the roof, but never above the lower end of the range, which it
    has to reach.
    """
    length, metal = _metres(device.probe_length_mm), _metres(device.probe_diameter_mm)
    if length is None:
        raise Lacking("the probe's length")
    if metal is None:
        raise Lacking("the diameter of rod or rope")
    cover = _metres(device.insulation_mm)
    if cover is not None and device.insulation_permittivity is None:
        raise Lacking("the permittivity of the probe's insulation")
    low, high = range_levels(point, geometry)
    tip = max(min(inside_height(geometry) - length - point.tank.datum_m, low), -point.tank.datum_m)
    if tip + length < high - 1e-6:
        raise Lacking(
            f"a probe long enough for the range: {length:.3f} m is registered, the range spans "
            f"{high - low:.3f} m"
        )
    try:
        return Probe(
            conductor=metal,
            wall=wall_across(point.tank),
            length=length,
            tip=tip,
            insulation=None if cover is None else metal + 2 * cover,
            insulation_permittivity=float(device.insulation_permittivity or 1),
        )
    except ValueError as error:
        raise Lacking(f"probe data that fit the tank ({error})") from error


def wall_across(tank: Tank) -> float:
    """Diameter in m of the round wall, the other plate; of a rectangular tank the circle within.
    Raises Lacking.
    """
    if not tank.wall_conducts:
        raise Lacking(
            "how far off the reference electrode stands (the tank's wall does not conduct)"
        )
    across = tank.diameter
    if tank.shape == Tank.Shape.RECTANGULAR and tank.length and tank.width:
        across = min(tank.length, tank.width)
    metres = tank.metres(across)
    if not metres or tank.shape == Tank.Shape.STRAPPED:
        raise Lacking("the tank's diameter")
    return metres


def range_levels(point: MeasuringPoint, geometry: Geometry) -> tuple[float, float]:
    """Lowest and highest level of the range, m above the datum plate."""
    ends = [float(level_at(point, geometry, float(end))) for end in (point.lower, point.upper)]
    return min(ends), max(ends)


def _metres(millimetres: Decimal | None) -> float | None:
    return None if millimetres is None else float(millimetres) / 1000


# ---- what it should measure ----
@dataclass(frozen=True)
class Height:
    """pF of the whole probe at a level, m above the datum plate, and what a correct output shows
    there in %.
    """

    name: str
    level: float
    picofarads: float


@dataclass(frozen=True)
class Sensitivity:
    """What the reading shifts when full by: % of span, mA or V, and m of level (above zero reads
    high).
    """

    cause: str
    percent: float
    output: float
    level: float

    @property
    def millimetres(self) -> float:
        return 1000 * self.level


@dataclass(frozen=True)
class ProbeFigures:
    """Expected capacitance of a probe: pF per metre in gas and in the present liquid, at heights,
    and what moves it.
    """

    probe: Probe
    liquid: Contents
    permittivity: float
    in_gas: float
    in_liquid: float
    heights: tuple[Height, ...]
    sensitivities: tuple[Sensitivity, ...]

    @property
    def span_picofarads(self) -> float:
        """Between the two ends of the range."""
        return self.heights[2].picofarads - self.heights[1].picofarads


def probe_figures(device: Transmitter, point: MeasuringPoint, geometry: Geometry) -> ProbeFigures:
    """What a capacitance probe should measure in what its tank holds now. Raises Lacking."""
    probe, liquid = probe_of(device, point, geometry), Contents.of(point.tank)
    permittivity = liquid.permittivity
    if liquid.conducts and probe.insulation is None:
        raise Lacking(
            f"the probe's insulation: bare, it would be short-circuited by {liquid.product}, "
            "which conducts"
        )
    low, high = range_levels(point, geometry)
    lower, upper = (high, low) if point.is_reverse else (low, high)
    named = (
        ("Dry probe", probe.tip),
        ("Lower end of the range", low),
        ("Upper end of the range", high),
        ("Whole probe wetted", probe.tip + probe.length),
    )
    heights = tuple(
        Height(name, level, float(capacitance_at(probe, level, permittivity)))
        for name, level in named
    )
    ends = {"lower": lower, "upper": upper, "signal": point.output}
    return ProbeFigures(
        probe=probe,
        liquid=liquid,
        permittivity=permittivity,
        in_gas=float(per_metre(probe, AIR)),
        in_liquid=float(per_metre(probe, permittivity)),
        heights=heights,
        sensitivities=tuple(_sensitivities(probe, liquid, permittivity, high, ends)),
    )


def _sensitivities(
    probe: Probe, liquid: Contents, permittivity: float, full: float, ends: dict
) -> Iterable[Sensitivity]:
    span = ends["upper"] - ends["lower"]

    def effect(cause: str, shift: Callable[..., Shift], **conditions: float) -> Sensitivity:
        moved = shift(probe, full, **ends, **conditions)
        return Sensitivity(cause, moved.error, moved.output_error, moved.error / 100 * span)

    if not liquid.conducts:
        fixed = {"at_calibration": permittivity}
        yield effect(
            f"Permittivity {STEP} higher", permittivity_shift, **fixed, now=permittivity + STEP
        )
        per_kelvin = float(liquid.product.permittivity_per_k) if liquid.product else 0.0
        warmer = permittivity + KELVINS * per_kelvin
        if per_kelvin and warmer > AIR:
            yield effect(f"{KELVINS:.0f} K warmer", permittivity_shift, **fixed, now=warmer)
    elif probe.insulation is not None:
        # Where the range ends at the probe's upper end no film fits above it: taken a little lower.
        below = min(full, probe.tip + probe.length - FILM_M)
        moved = build_up_shift(probe, below, **ends, liquid=permittivity, film=FILM_M)
        yield Sensitivity(
            f"Conducting film {1000 * FILM_M:.0f} mm up the probe, above the liquid",
            moved.error,
            moved.output_error,
            moved.error / 100 * span,
        )
    yield effect(
        f"Crust {1000 * CRUST_M:.0f} mm thick all over, insulating, of permittivity "
        f"{CRUST_PERMITTIVITY}",
        coating_shift,
        liquid=permittivity,
        thickness=CRUST_M,
        permittivity=CRUST_PERMITTIVITY,
    )
