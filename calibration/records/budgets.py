"""The uncertainty of a record's errors, from what the register knows: standards, the way of
applying, the conditions.

Everything is brought to % of span. What the certificates leave out is taken from the defaults of
calibration.metrology.components and marked as assumed, so that a reader sees which figures nobody
has measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from calibration.metrology import components as known
from calibration.metrology import input_components as inputs
from calibration.metrology.uncertainty import (
    Component,
    combine,
    coverage,
    scaled,
)
from calibration.procedures.models import InputWay
from calibration.records.computed import with_computed
from calibration.records.models import Reading
from calibration.records.sent import SentReading
from calibration.records.uncertainty import PROBABILITY, Doubt, Parts
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import Signal, percent_at, signal_at
from plant.level.tanks import volume_at
from plant.points.geometry import in_base, level_at
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.tanks.geometry import geometry_of
from plant.transmitters.models import Principle, Transmitter

Kind = ReferenceStandard.Kind
Certified = Sequence[tuple[ReferenceStandard, StandardCertificate]]
WATER = 1000.0  # kg/m³, where the register does not know the product's density
ROOM_ABOVE = 0.5  # m from the upper range value to the reference face of a target test; no source
METERS = (Kind.MULTIMETER, Kind.LOOP_CALIBRATOR)
LOOP_OHMS = 250.0  # 1 to 5 V for 4 to 20 mA
COARSE = 0.01  # mA: no coarser display is put on a loop
SHIFT = 0.001  # m by which a level is moved to see what volume follows


@dataclass(frozen=True)
class Test:
    """How a test was made: where, by which way, with what, in which conditions."""

    point: MeasuringPoint
    transmitter: Transmitter
    way: str
    certified: Certified
    ambient_c: Decimal | None = None
    product_c: Decimal | None = None

    @property
    def signal(self) -> Signal:
        return self.point.output

    @property
    def span(self) -> float:
        return self.point.span_base

    def doubt(self, readings: Sequence[SentReading]) -> Doubt | None:
        """The uncertainty of each reading's error; None without readings."""
        if not readings:
            return None
        applied = np.array([float(r.applied) for r in readings])
        ends = {"lower": float(self.point.lower), "upper": float(self.point.upper)}
        percent = np.asarray(percent_at(applied, **ends), dtype=float)
        parts = (
            self._output(readings, applied, ends)
            + self._input(applied)
            + self._repeats(readings, percent)
        )
        parts = with_computed(parts, readings)
        budget = combine(parts.components)
        covered = coverage(budget, probability=PROBABILITY)

        def spread(values: Any) -> np.ndarray:
            return np.broadcast_to(np.asarray(values), applied.shape)

        each = parts.components
        return Doubt(
            u=spread(budget.u),
            expanded=spread(covered.expanded),
            k=spread(covered.k),
            dof=spread(budget.dof),
            percent=percent,
            by=spread(covered.by),
            parts=np.array([spread(part) for part in budget.contributions]),
            shares=np.array([spread(share) for share in budget.shares]),
            values=np.array([spread(c.value) for c in each]),
            sensitivities=np.array([spread(c.sensitivity) for c in each]),
            components=each,
            assumed=parts.assumed,
            lasting=parts.lasting,
        )

    def u_output(self, reading: SentReading) -> float:
        """Standard uncertainty of one reading's error, % of span: the part of what reads the
        output.
        """
        ends = {"lower": float(self.point.lower), "upper": float(self.point.upper)}
        return _root(self._output([reading], np.array([float(reading.applied)]), ends))

    def u_input(self, reading: SentReading) -> float:
        """The same of what applies the input. Both in quadrature are the whole for a single
        reading.
        """
        return _root(self._input(np.array([float(reading.applied)])))

    # ---- what reads the output ----
    def _output(
        self, readings: Sequence[SentReading], applied: np.ndarray, ends: dict[str, float]
    ) -> Parts:
        """The meter on the loop; or the last digit of the display where an indication decides."""
        if all(r.indication is not None for r in readings):
            return self._display(readings, abs(ends["upper"] - ends["lower"]))
        expected = signal_at(applied, **ends, signal=self.signal)
        pairs = zip(readings, np.ravel(expected).tolist(), strict=True)
        observed = np.array([e if r.observed is None else float(r.observed) for r, e in pairs])
        # Trailing noughts are often left untyped: the finest reading tells the display's step.
        coarse = COARSE * self.signal.span / 16
        read = [
            r for r in readings if r.observed is not None and r.origin != Reading.Origin.COMPUTED
        ]
        step = min((_step(r.observed) for r in read), default=coarse)
        step = min(step, coarse)
        meter = self._meter(observed, step).scaled(100 / self.signal.span)
        return meter + self._resistor(observed).scaled(100 / self.signal.span)

    def _display(self, readings: Sequence[SentReading], span: float) -> Parts:
        step = min(_step(r.indication) for r in readings if r.indication is not None)
        step = min(step, 0.001 * span)
        return Parts((known.resolution("display", 100 * step / span),))

    def _meter(self, observed: np.ndarray, step: float) -> Parts:
        """In the unit of the signal; a meter certified in volts reads a current over the loop
        resistor.
        """
        certificate = self._certificate(*METERS)
        factor = self._signal_per(certificate.unit) if certificate else None
        if certificate is None or factor is None:
            by = self.signal.span / 16.0
            parts = scaled(known.default_meter(observed / by, step=step / by), by)
            return Parts(parts, frozenset(c.name for c in parts))
        stated = scaled(_stated("meter", certificate, observed / factor), factor)
        finest = float(certificate.resolution) * factor if certificate.resolution else step
        parts = (*stated, known.resolution("meter resolution", finest))
        if self.ambient_c is not None:
            parts = (*parts, known.meter_temperature(observed, float(self.ambient_c)))
        if stated:
            return Parts(parts, frozenset({"meter temperature"}))
        absolute = 0.002 * self.signal.span / 16
        usual = known.specification(
            "meter specification", observed, percent_of_reading=0.02, absolute=absolute
        )
        return Parts((usual, *parts), frozenset({usual.name, "meter temperature"}))

    def _signal_per(self, unit: str) -> float | None:
        """Units of the signal in one of the certificate's; None where its figures say nothing of
        this signal.
        """
        volts = {"V": 1.0, "mV": 0.001}
        if unit == self.signal.unit:
            return 1.0
        if unit not in volts:
            return None
        return volts[unit] * (1.0 if self.signal.unit == "V" else 1000.0 / LOOP_OHMS)

    def _resistor(self, observed: np.ndarray) -> Parts:
        certificate = self._certificate(Kind.RESISTOR)
        if certificate is None:
            return Parts(())
        stated = [
            part for part in (certificate.percent_of_reading, certificate.percent_of_range) if part
        ]
        if stated:
            return Parts((known.loop_resistor(observed, percent=float(sum(stated))),))
        usual = known.loop_resistor(observed)
        return Parts((usual,), frozenset({usual.name}))

    # ---- what applies the input ----
    def _input(self, applied: np.ndarray) -> Parts:
        if self.way == InputWay.SIMULATED_OUTPUT:
            parts = inputs.simulated_output()
            return _assumed(parts).scaled(100 / self.signal.span)
        if self.way == InputWay.CAPACITANCE:
            return self._capacitance(applied)
        level, slope = self._level(applied)
        # What is in mm of level moves the error by so many % of span.
        return self._in_millimetres(level).scaled(slope * 100 / (1000 * self.span))

    def _level(self, applied: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Level in m above the datum, and what a metre of it is in the point's base unit: 1, or m³
        at that height.
        """
        if self.point.quantity != "volume":
            return np.asarray(in_base(self.point, applied), dtype=float), np.ones(len(applied))
        try:
            geometry = geometry_of(self.point.tank)
        except (
            Refused
        ):  # its dimensions were never entered: the mean over the height stands for each level
            height = max(self._span_level(), SHIFT)
            share = np.abs(np.asarray(in_base(self.point, applied), dtype=float)) / self.span
            return height * share, np.full(len(applied), self.span / height)
        level = np.asarray(level_at(self.point, geometry, applied), dtype=float)
        inside = (level + self.point.tank.datum_m).clip(
            SHIFT, self.point.tank.inside_height_m - SHIFT
        )
        above, below = (
            np.asarray(volume_at(geometry, inside + by)) for by in (SHIFT / 2, -SHIFT / 2)
        )
        slope = (above - below) / SHIFT
        usual = self.span / max(self._span_level(), SHIFT)
        return level, np.where(np.isfinite(slope) & (slope > 0), slope, usual)

    def _in_millimetres(self, level: np.ndarray) -> Parts:
        height = np.abs(level)
        match self.way:
            case InputWay.DIP:
                tape = self._standard_of(
                    "dip tape", Kind.DIP_TAPE, reading=1000 * height, unit="mm"
                )
                return _assumed(inputs.wetted_by_dip(height, tape=tape), but=tape)
            case InputWay.GAUGE_GLASS:
                return _assumed(inputs.wetted_by_gauge_glass(height))
            case InputWay.PROBE_RAISED:
                return _assumed(inputs.probe_raised(self._span_level()))
            case InputWay.PRESSURE:
                return self._pressure(height)
            case InputWay.TARGET:
                length = self._standard_of(
                    "tape or laser", Kind.LENGTH, reading=1000 * height, unit="mm"
                )
                air = 1.0 if self.transmitter.principle == Principle.ULTRASONIC else 0.0
                away = height.max() - height + ROOM_ABOVE
                return _assumed(
                    inputs.target_at_distance(away, length=length, air_kelvin=air), but=length
                )
            case InputWay.WEIGHTS:
                return self._weights(height)
            case _:
                return _assumed(inputs.float_moved())

    def _pressure(self, height: np.ndarray) -> Parts:
        density, is_known = self._density()
        kilopascals = density * inputs.GRAVITY * height / 1000
        meter = self._standard_of(
            "pressure calibrator", Kind.PRESSURE_CALIBRATOR, reading=kilopascals, unit="kPa"
        )
        parts = inputs.pressure_applied(
            height, density=density, calibrator=meter, range_kilopascals=float(kilopascals.max())
        )
        told = _assumed(parts, but=meter)
        return replace(told, assumed=told.assumed - ({"density"} if is_known else set()))

    def _weights(self, height: np.ndarray) -> Parts:
        """The displacer's own size cancels: mass and volume go together."""
        density, _ = self._density()
        length, volume = max(self._span_level(), 0.1), 0.001
        mass = density * volume * height / length
        return _assumed(
            inputs.weights_on_hanger(
                height, mass=mass, length=length, volume=volume, density=density
            )
        )

    def _capacitance(self, applied: np.ndarray) -> Parts:
        """In shares of the span's capacitance: the box, what is left of leads, and the pF per metre
        of the probe.
        """
        low, high = float(self.point.lower), float(self.point.upper)
        share = np.abs(applied - low) / abs(high - low) * 100
        box = self._certificate(Kind.DECADE_BOX)
        stated = box and (box.percent_of_reading or box.percent_of_range)
        percent = float(stated or 0.5)
        parts = (
            known.specification("decade box", share, percent_of_reading=percent, absolute=0.2),
            Component(
                "pF per metre of the probe", 0.005 * share, known.Shape.RECTANGULAR, shared=True
            ),
        )
        probe = frozenset({"pF per metre of the probe"})
        return Parts(parts, probe if stated else probe | {"decade box"}, probe)

    # ---- what repeats tell ----
    def _repeats(self, readings: Sequence[SentReading], percent: np.ndarray) -> Parts:
        """Scatter of readings of one point from the same side, pooled over the points that were
        repeated.
        """
        groups: dict[tuple[str, float, bool], list[float]] = {}
        for reading, at in zip(readings, percent.tolist(), strict=True):
            value = reading.observed if reading.indication is None else reading.indication
            if value is not None:
                groups.setdefault((reading.stage, round(at, 6), reading.rising), []).append(
                    float(value)
                )
        squares = sum(
            float(np.var(g, ddof=1)) * (len(g) - 1) for g in groups.values() if len(g) > 1
        )
        dof = sum(len(g) - 1 for g in groups.values())
        if not dof or not squares:
            return Parts(())
        is_output = all(r.indication is None for r in readings)
        whole = self.signal.span if is_output else abs(float(self.point.upper - self.point.lower))
        scatter = 100 * math.sqrt(squares / dof) / whole
        return Parts((known.known_repeatability("repeated readings", scatter, repeats=1, dof=dof),))

    # ---- what stands in the register ----
    def _certificate(self, *kinds: str) -> StandardCertificate | None:
        return next((c for s, c in self.certified if s.kind in kinds), None)

    def _standard_of(
        self, name: str, kind: str, *, reading: np.ndarray, unit: str
    ) -> Component | None:
        """A component in ``unit`` from the certificate of that kind; None where it states nothing
        in it.
        """
        certificate = self._certificate(kind)
        if certificate is None or certificate.unit not in IN_MM | {unit: 1.0}:
            return None
        factor = IN_MM[certificate.unit] if unit == "mm" else 1.0
        if certificate.unit != unit and unit != "mm":
            return None
        stated = _stated(name, certificate, reading / factor)
        if not stated:
            return None
        u = np.sqrt(sum(np.square(np.asarray(c.u, dtype=float)) for c in stated)) * factor
        return Component(name, u, shared=True)

    def _density(self) -> tuple[float, bool]:
        product = self.point.tank.product
        if product is None or product.density is None:
            return WATER, False
        celsius = self.product_c if self.product_c is not None else self.point.tank.product_c
        warmer = 0.0 if celsius is None else float(celsius - product.density_c)
        return max(float(product.density) + float(product.density_per_k) * warmer, 1.0), True

    def _span_level(self) -> float:
        """Span in m of level; where volume is indicated, the tank's height stands for it."""
        return self.point.tank.inside_height_m if self.point.quantity == "volume" else self.span


IN_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0}


def _stated(
    name: str, certificate: StandardCertificate, reading: np.ndarray
) -> tuple[Component, ...]:
    """What a certificate says, in its unit: limits of accuracy, and the laboratory's U with its
    k.
    """
    parts: list[Component] = []
    limits = {
        key: float(getattr(certificate, key) or 0)
        for key in ("percent_of_reading", "percent_of_range", "absolute")
    }
    if any(limits.values()):
        width = 0.0
        if certificate.range_low is not None and certificate.range_high is not None:
            width = float(certificate.range_high - certificate.range_low)
        if limits["percent_of_reading"] or limits["absolute"] or width:
            parts.append(
                known.specification(f"{name} specification", reading, range_value=width, **limits)
            )
    if certificate.expanded_uncertainty is not None and certificate.coverage_factor is not None:
        parts.append(
            known.certificate(
                f"{name} certificate",
                float(certificate.expanded_uncertainty),
                float(certificate.coverage_factor),
            )
        )
    return tuple(parts)


def _assumed(parts: tuple[Component, ...], *, but: Component | None = None) -> Parts:
    """What a way of applying brings; but: the standard's part, which its certificate states."""
    stated = {but.name} if but else set()
    names = frozenset(c.name for c in parts)
    return Parts(parts, names - stated, frozenset(c.name for c in parts if c.shared) - stated)


def _root(parts: Parts) -> float:
    return math.sqrt(sum(float(np.square(c.contribution).max()) for c in parts.components))


def _step(value: Decimal | None) -> float:
    """The last digit as typed."""
    exponent = value.as_tuple().exponent if value is not None else 0
    return float(10 ** (exponent if isinstance(exponent, int) else 0))
