"""What applies the input, as components of the uncertainty: one set for each way of applying.

What a certificate leaves out is taken from the defaults of calibration.metrology.components and
marked as assumed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from calibration.metrology import components as known
from calibration.metrology import input_components as inputs
from calibration.metrology.uncertainty import Component
from calibration.procedures.models import InputWay
from calibration.records.certificate_parts import IN_MM, stated_components
from calibration.records.setup import Setup
from calibration.records.uncertainty import Parts
from calibration.standards.models import ReferenceStandard
from plant.level.tanks import volume_at
from plant.points.geometry import in_base, level_at
from plant.refusals import Refused
from plant.tanks.geometry import geometry_of
from plant.transmitters.models import Principle

ROOM_ABOVE = 0.5  # m from the upper range value to the reference face of a target test; no source
SHIFT = 0.001  # m by which a level is moved to see what volume follows


def input_parts(setup: Setup, applied: np.ndarray) -> Parts:
    """In % of span, a place for each reading; ``applied``: their values, in the point's unit."""
    if setup.way == InputWay.SIMULATED_OUTPUT:
        parts = inputs.simulated_output()
        return _assumed(parts).scaled(100 / setup.signal.span)
    if setup.way == InputWay.CAPACITANCE:
        return _capacitance(setup, applied)
    level, slope = _level(setup, applied)
    # What is in mm of level moves the error by so many % of span.
    return IN_MILLIMETRES[setup.way](setup, np.abs(level)).scaled(slope * 100 / (1000 * setup.span))


def _level(setup: Setup, applied: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Level in m above the datum, and what a metre of it is in the point's base unit: 1, or m³
    at that height.
    """
    if setup.point.quantity != "volume":
        return np.asarray(in_base(setup.point, applied), dtype=float), np.ones(len(applied))
    try:
        geometry = geometry_of(setup.point.tank)
    except Refused:
        # Its dimensions were never entered: the mean over the height stands for each level.
        height = max(setup.span_level, SHIFT)
        share = np.abs(np.asarray(in_base(setup.point, applied), dtype=float)) / setup.span
        return height * share, np.full(len(applied), setup.span / height)
    level = np.asarray(level_at(setup.point, geometry, applied), dtype=float)
    inside = (level + setup.point.tank.datum_m).clip(
        SHIFT, setup.point.tank.inside_height_m - SHIFT
    )
    above, below = (np.asarray(volume_at(geometry, inside + by)) for by in (SHIFT / 2, -SHIFT / 2))
    slope = (above - below) / SHIFT
    usual = setup.span / max(setup.span_level, SHIFT)
    return level, np.where(np.isfinite(slope) & (slope > 0), slope, usual)


def _dip(setup: Setup, height: np.ndarray) -> Parts:
    tape = _standard_of(
        setup, "dip tape", ReferenceStandard.Kind.DIP_TAPE, reading=1000 * height, unit="mm"
    )
    return _assumed(inputs.wetted_by_dip(height, tape=tape), but=tape)


def _target(setup: Setup, height: np.ndarray) -> Parts:
    length = _standard_of(
        setup, "tape or laser", ReferenceStandard.Kind.LENGTH, reading=1000 * height, unit="mm"
    )
    air = 1.0 if setup.transmitter.principle == Principle.ULTRASONIC else 0.0
    away = height.max() - height + ROOM_ABOVE
    return _assumed(inputs.target_at_distance(away, length=length, air_kelvin=air), but=length)


def _pressure(setup: Setup, height: np.ndarray) -> Parts:
    density, is_known = setup.density()
    kilopascals = density * inputs.GRAVITY * height / 1000
    meter = _standard_of(
        setup,
        "pressure calibrator",
        ReferenceStandard.Kind.PRESSURE_CALIBRATOR,
        reading=kilopascals,
        unit="kPa",
    )
    parts = inputs.pressure_applied(
        height, density=density, calibrator=meter, range_kilopascals=float(kilopascals.max())
    )
    assumed = _assumed(parts, but=meter)
    return replace(assumed, assumed=assumed.assumed - ({"density"} if is_known else set()))


def _weights(setup: Setup, height: np.ndarray) -> Parts:
    """The displacer's own size cancels: mass and volume go together."""
    density, _ = setup.density()
    length, volume = max(setup.span_level, 0.1), 0.001
    mass = density * volume * height / length
    return _assumed(
        inputs.weights_on_hanger(height, mass=mass, length=length, volume=volume, density=density)
    )


def _capacitance(setup: Setup, applied: np.ndarray) -> Parts:
    """In shares of the span's capacitance: the box, what is left of leads, and the pF per metre
    of the probe.
    """
    low, high = float(setup.point.lower), float(setup.point.upper)
    share = np.abs(applied - low) / abs(high - low) * 100
    box = setup.certificate(ReferenceStandard.Kind.DECADE_BOX)
    accuracy = box and (box.percent_of_reading or box.percent_of_range)
    percent = float(accuracy or 0.5)
    parts = (
        known.specification("decade box", share, percent_of_reading=percent, absolute=0.2),
        Component("pF per metre of the probe", 0.005 * share, known.Shape.RECTANGULAR, shared=True),
    )
    probe = frozenset({"pF per metre of the probe"})
    return Parts(parts, probe if accuracy else probe | {"decade box"}, probe)


# What each way leaves open of the level, in mm, at heights in m above the datum.
IN_MILLIMETRES: dict[str, Callable[[Setup, np.ndarray], Parts]] = {
    InputWay.DIP: _dip,
    InputWay.GAUGE_GLASS: lambda _, height: _assumed(inputs.wetted_by_gauge_glass(height)),
    InputWay.PROBE_RAISED: lambda setup, _: _assumed(inputs.probe_raised(setup.span_level)),
    InputWay.PRESSURE: _pressure,
    InputWay.TARGET: _target,
    InputWay.WEIGHTS: _weights,
    InputWay.FLOAT_MOVED: lambda *_: _assumed(inputs.float_moved()),
}


def _standard_of(
    setup: Setup, name: str, kind: str, *, reading: np.ndarray, unit: str
) -> Component | None:
    """A component in ``unit`` from the certificate of that kind; None where it states nothing
    in it.
    """
    certificate = setup.certificate(kind)
    if certificate is None or certificate.unit not in IN_MM | {unit: 1.0}:
        return None
    factor = IN_MM[certificate.unit] if unit == "mm" else 1.0
    if certificate.unit != unit and unit != "mm":
        return None
    stated = stated_components(name, certificate, reading / factor)
    if not stated:
        return None
    u = np.sqrt(sum(np.square(np.asarray(c.u, dtype=float)) for c in stated)) * factor
    return Component(name, u, shared=True)


def _assumed(parts: tuple[Component, ...], *, but: Component | None = None) -> Parts:
    """What a way of applying brings; but: the standard's part, which its certificate states."""
    stated = {but.name} if but else set()
    names = frozenset(c.name for c in parts)
    return Parts(parts, names - stated, frozenset(c.name for c in parts if c.shared) - stated)
