"""What applies the input, as components of the uncertainty: one set for each way of applying.

What a certificate leaves out is taken from the defaults of calibration.metrology.components and
marked as assumed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

import numpy as np

from calibration.metrology import components as known
from calibration.metrology import input_components as inputs
from calibration.metrology.uncertainty import Component, Shape
from calibration.procedures.models import InputWay
from calibration.records.certificate_parts import stated_parts, uncorrected
from calibration.records.certificate_units import UNITS_OF, Kind, kind_of
from calibration.records.setup import Setup
from calibration.records.standard_uses import LENGTHS
from calibration.records.uncertainty import Parts
from plant.level.tanks import volume_at
from plant.points.geometry import in_base, level_at
from plant.refusals import Refused
from plant.tanks.geometry import geometry_of
from plant.transmitters.models import Principle
from plant.transmitters.probe import Lacking, probe_figures

ROOM_ABOVE = 0.5  # m from the upper range value to the reference face of a target test; no source
LITRE = 0.001  # m³ of a displacer (no source)
ROOM = 20.0  # °C, where nobody noted the product's
LEADS = 0.2  # % of span (no source)
SPAN_PICOFARADS = 1000.0  # of a probe whose data are not entered (no source)
SHIFT = 0.001  # m by which a level is moved to see what volume follows


def input_parts(setup: Setup, applied: np.ndarray) -> Parts:
    """In % of span, a place for each reading; ``applied``: their values, in the point's unit."""
    if setup.way == InputWay.SIMULATED_OUTPUT:
        return _beside(Parts(()), inputs.simulated_output()).scaled(100 / setup.signal.span)
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
    tape = _stated(setup, "dip tape", {Kind.DIP_TAPE}, 1000 * height)
    warm = _thermometer(setup, "at the tape", 1000 * inputs.STEEL * height)
    return _beside(tape, inputs.wetted_by_dip(height, tape=tape.components)) + warm


def _gauge_glass(setup: Setup, height: np.ndarray) -> Parts:
    scale = _stated(setup, "glass scale", LENGTHS, 1000 * height)
    parts = _beside(scale, inputs.wetted_by_gauge_glass(height, length=scale.components))
    return parts + _of_density(setup, height)


def _probe_raised(setup: Setup, height: np.ndarray) -> Parts:
    tape = _stated(setup, "tape along the probe", LENGTHS, 1000 * height)
    return _beside(tape, inputs.probe_raised(setup.span_level, length=tape.components))


def _float_moved(setup: Setup, height: np.ndarray) -> Parts:
    tape = _stated(setup, "tape along the rod", LENGTHS, 1000 * height)
    return _beside(tape, inputs.float_moved(length=tape.components))


def _target(setup: Setup, height: np.ndarray) -> Parts:
    length = _stated(setup, "tape or laser", LENGTHS, 1000 * height)
    air = 1.0 if setup.transmitter.principle == Principle.ULTRASONIC else 0.0
    away = height.max() - height + ROOM_ABOVE
    parts = inputs.target_at_distance(away, length=length.components, air_kelvin=air)
    warm = _thermometer(setup, "in the air", 1000 * inputs.SOUND_PER_KELVIN * air * away)
    return _beside(length, parts) + warm


def _pressure(setup: Setup, height: np.ndarray) -> Parts:
    density, is_known = setup.density()
    kilopascals = density * inputs.GRAVITY * height / 1000
    meter = _stated(setup, "pressure calibrator", {Kind.PRESSURE_CALIBRATOR}, kilopascals)
    parts = inputs.pressure_applied(
        height,
        density=density,
        calibrator=meter.components,
        range_kilopascals=float(kilopascals.max()),
    )
    by = inputs.millimetres_per_kilopascal(density)
    whole = _beside(meter.scaled(by), parts) + _of_density(setup, height)
    return replace(whole, assumed=whole.assumed - ({"density"} if is_known else set()))


def _weights(setup: Setup, height: np.ndarray) -> Parts:
    """The displacer's own size cancels, since mass and volume go together; but not where weights
    are certified in kg: one of a litre is then assumed.
    """
    density, _ = setup.density()
    size = {"length": max(setup.span_level, 0.1), "volume": LITRE, "density": density}
    mass = density * LITRE * height / size["length"]
    weights = _stated(setup, "weights", {Kind.WEIGHTS}, mass)
    parts = inputs.weights_on_hanger(height, mass=mass, weights=weights.components, **size)
    by = inputs.millimetres_per_kilogram(**size)
    return _beside(weights.scaled(by), parts) + _of_density(setup, height)


def _of_density(setup: Setup, height: np.ndarray) -> Parts:
    """What a hydrometer and a thermometer leave open of the density, mm of the product."""
    density, _ = setup.density()
    product = setup.point.tank.product
    per_kelvin = abs(float(product.density_per_k)) if product else 0.0
    at = np.full(height.shape, density)
    return _uncorrected(
        setup, "hydrometer", Kind.HYDROMETER, at, 1000 * height / density
    ) + _thermometer(setup, "in the product", 1000 * height * per_kelvin / density)


def _thermometer(setup: Setup, where: str, per_kelvin: np.ndarray) -> Parts:
    noted = setup.product_c
    celsius = np.full(per_kelvin.shape, ROOM if noted is None else float(noted))
    return _uncorrected(setup, f"thermometer {where}", Kind.THERMOMETER, celsius, per_kelvin)


def _capacitance(setup: Setup, applied: np.ndarray) -> Parts:
    """In shares of the span's capacitance: the box, what is left of leads, and the pF per metre
    of the probe.
    """
    low, high = float(setup.point.lower), float(setup.point.upper)
    share = np.abs(applied - low) / abs(high - low) * 100
    box, unknown = _decade_box(setup, share)
    probe = Component("pF per metre of the probe", 0.005 * share, Shape.RECTANGULAR, shared=True)
    parts = Parts((probe,), frozenset({probe.name}), frozenset({probe.name}))
    if not box.components:
        usual = known.specification("decade box", share, percent_of_reading=0.5, absolute=0.2)
        return Parts((usual,), frozenset({usual.name})) + parts
    leads = known.rectangle("leads of the decade box", LEADS, shared=True)
    assumed = frozenset(c.name for c in box.components) if unknown else frozenset()
    return box + Parts((leads,), assumed | {leads.name}) + parts


def _decade_box(setup: Setup, share: np.ndarray) -> tuple[Parts, bool]:
    """What the box's certificate states, in % of span at so many % of it; and whether the
    capacitance of the span had to be assumed.
    """
    try:
        at = probe_figures(setup.transmitter, setup.point, geometry_of(setup.point.tank))
        zero, span = at.heights[1].picofarads, at.span_picofarads
    except (Lacking, Refused):
        zero, span = 0.0, 0.0
    is_unknown = span <= 0
    zero, span = (0.0, SPAN_PICOFARADS) if is_unknown else (zero, span)
    box = _stated(setup, "decade box", {Kind.DECADE_BOX}, zero + span * share / 100)
    return box.scaled(100 / span), is_unknown


# What each way leaves open of the level, in mm, at heights in m above the datum.
IN_MILLIMETRES: dict[str, Callable[[Setup, np.ndarray], Parts]] = {
    InputWay.DIP: _dip,
    InputWay.GAUGE_GLASS: _gauge_glass,
    InputWay.PROBE_RAISED: _probe_raised,
    InputWay.PRESSURE: _pressure,
    InputWay.TARGET: _target,
    InputWay.WEIGHTS: _weights,
    InputWay.FLOAT_MOVED: _float_moved,
}


def _stated(setup: Setup, name: str, kinds: Collection[str], reading: np.ndarray) -> Parts:
    """What the certificates of all listed standards of these kinds state, in the unit of
    ``reading``, which is what they showed.
    """
    whole = Parts(())
    for part, standard, certificate in setup.certified_as(name, *kinds):
        units = UNITS_OF[kind_of(standard, certificate)]
        whole += stated_parts(part, standard, certificate, reading, units)
    return whole


def _uncorrected(setup: Setup, name: str, kind: str, reading: np.ndarray, by: np.ndarray) -> Parts:
    """Of standards whose reading no figure is computed from; ``by``: what one of their unit makes
    of the level.
    """
    whole = Parts(())
    for part, standard, certificate in setup.certified_as(name, kind):
        stated = stated_parts(part, standard, certificate, reading, UNITS_OF[kind])
        whole += uncorrected(part, stated)
    return whole.scaled(by)


def _beside(stated: Parts, parts: tuple[Component, ...]) -> Parts:
    """All that a way of applying brings, of which the certificates state what they state."""
    names = frozenset(c.name for c in parts) - frozenset(stated.stems)
    lasting = frozenset(c.name for c in parts if c.shared) & names
    return replace(stated, components=parts, assumed=names, lasting=lasting)
