"""How a test was made: where, by which way, with which standards, in which conditions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from calibration.procedures.models import ProcedureVersion
from calibration.records.certificate_units import kind_of
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import Signal
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter

Certified = Sequence[tuple[ReferenceStandard, StandardCertificate]]
METERS = (ReferenceStandard.Kind.MULTIMETER, ReferenceStandard.Kind.LOOP_CALIBRATOR)
WATER = 1000.0  # kg/m³, where the register does not know the product's density


@dataclass(frozen=True)
class Setup:
    """The point and its transmitter, the way of applying the input, each standard with the
    certificate that covers the day, the temperatures, and the procedure where one was followed.
    """

    point: MeasuringPoint
    transmitter: Transmitter
    way: str
    certified: Certified
    ambient_c: Decimal | None = None
    product_c: Decimal | None = None
    version: ProcedureVersion | None = None

    @property
    def signal(self) -> Signal:
        return self.point.output

    @property
    def span(self) -> float:
        """In the point's base unit: m or m³."""
        return self.point.span_base

    @property
    def ends(self) -> dict[str, float]:
        """The range values in the point's own unit."""
        return {"lower": float(self.point.lower), "upper": float(self.point.upper)}

    @property
    def span_level(self) -> float:
        """Span in m of level; where volume is indicated, the tank's height stands for it."""
        return self.point.tank.inside_height_m if self.point.quantity == "volume" else self.span

    def certified_as(
        self, name: str, *kinds: str
    ) -> Iterator[tuple[str, ReferenceStandard, StandardCertificate]]:
        """The standards of these kinds, each with the name of its part: ``name`` for the first, and
        with the identity of the standard for those after it.
        """
        pairs = [(s, c) for s, c in self.certified if kind_of(s, c) in kinds]
        for number, (standard, certificate) in enumerate(pairs):
            yield f"{name} {standard.name}" if number else name, standard, certificate

    def density(self) -> tuple[float, bool]:
        """Of the product at its temperature, kg/m³, and whether the register knows it."""
        product = self.point.tank.product
        if product is None or product.density is None:
            return WATER, False
        celsius = self.product_c if self.product_c is not None else self.point.tank.product_c
        warmer = 0.0 if celsius is None else float(celsius - product.density_c)
        return max(float(product.density) + float(product.density_per_k) * warmer, 1.0), True
