"""Components of uncertainty of the ways in which an input is applied.

Each gives what the *input* brings; the meter that reads the output and the repeats of its readings
come beside it. Levels in m, heights and results of the level ways in mm; scaled() brings them to
mA or % of span. Defaults, arrays and names as in components.py.
"""

from __future__ import annotations

import numpy as np

from calibration.metrology.components import (
    Components,
    certificate,
    known_repeatability,
    rectangle,
    repeatability_of,
    specification,
)
from calibration.metrology.uncertainty import Component, Shape, scaled
from plant.level.arrays import Floats, float_or_array
from plant.level.checks import BadArgument, above_zero, limits_size, not_below_zero

GRAVITY = 9.80665  # m/s², standard value
STEEL = 11.5e-6  # expansion of a steel tape per K (common practice, no source)
SOUND_PER_KELVIN = 0.0017  # share of the distance per K near 20 °C, from 331.3 √(1 + t/273.15) m/s
# Half-widths of a dip tape, mm: fixed part, part for each metre begun, addition for the bob.
# Source: EU 2014/32, annex X (MI-008), classes I and II; the addition from memory.
TAPES = {1: (0.1, 0.1, 0.2), 2: (0.3, 0.2, 0.2)}
# Masses of a class, as a share of the mass. Source: OIML R 111 (from memory).
WEIGHTS_M2 = 0.00016


def simulated_output(*, step: float = 0.001) -> Components:
    """*Simulated output*, mA: the steps in which its current can be set. Leaves out the probe."""
    return (rectangle("output step", step),)


def wetted_by_dip(
    level: Floats,
    *,
    tape_class: int = 2,
    tape: Components = (),
    cut: float = 1.0,
    datum: float = 2.0,
    surface: float = 2.0,
    tape_kelvin: float = 5.0,
    scatter: float = 1.0,
    dips: int = 3,
    readings: Floats | None = None,
) -> Components:
    """*Wetted level by dip*, mm at a level in m.

    tape: from its certificate, in mm; else the limits of its class. tape_kelvin: limit of its
    temperature, K.
    readings: the dips themselves, mm, along the last axis; else dips of the given scatter.

    >>> from calibration.metrology.uncertainty import combine
    >>> round(combine(wetted_by_dip(9.0)).u, 2)
    2.24
    """
    height = not_below_zero("level", level)
    if not tape and tape_class not in TAPES:
        raise BadArgument("tape_class", f"{tape_class} is neither 1 nor 2")
    if not tape:
        fixed, per_metre, bob = TAPES[tape_class]
        width = float_or_array(fixed + per_metre * np.ceil(height) + bob)
        tape = (rectangle("dip tape", width, shared=True),)
    repeats = (
        known_repeatability("dips", scatter, repeats=dips, dof=max(dips - 1, 1))
        if readings is None
        else repeatability_of("dips", readings)
    )
    return (
        *tape,
        Component("reading the cut", cut, Shape.TRIANGULAR),
        rectangle("datum plate and bottom", datum, shared=True),
        rectangle("surface motion and time offset", surface),
        rectangle(
            "tape temperature", float_or_array(1000 * STEEL * tape_kelvin * height), shared=True
        ),
        repeats,
    )


@limits_size("height")
def wetted_by_gauge_glass(
    height: Floats,
    *,
    length: Components = (),
    scale: float = 2.0,
    meniscus: float = 2.0,
    column_percent: float = 0.5,
) -> Components:
    """*Wetted level by gauge glass*, mm; height of the column in the glass, m.

    length: the scale or tape it was read with, from its certificate, mm; else ± ``scale``.
    column_percent: what is left, in % of the height, after correcting a glass that is colder than
    the tank.
    """
    column = 1000 * column_percent / 100 * not_below_zero("height", height)
    return (
        *(length or (rectangle("glass scale", scale, shared=True),)),
        rectangle("meniscus and parallax", meniscus),
        rectangle("density of the column", float_or_array(column), shared=True),
    )


@limits_size("span")
def probe_raised(
    span: Floats,
    *,
    length: Components = (),
    mark: float = 3.0,
    film: float = 5.0,
    nozzle_percent: float = 0.5,
) -> Components:
    """*Probe raised out of product*, mm; span in m. film: what clings, 20 mm for molasses.

    length: the tape by which it was marked, from its certificate, mm.

    nozzle_percent: of span, for the geometry that changes at the nozzle. For sense and zero, not
    for a span of record.
    """
    nozzle = 1000 * nozzle_percent / 100 * not_below_zero("span", span)
    return (
        *length,
        rectangle("mark on the probe", mark),
        rectangle("clinging film", film),
        rectangle("geometry at the nozzle", float_or_array(nozzle), shared=True),
    )


@limits_size("level", "density", "density_width", "gravity_width")
def pressure_applied(
    level: Floats,
    *,
    density: Floats,
    range_kilopascals: float = 0.0,
    calibrator: Components = (),
    port: float = 2.0,
    density_width: float = 1.0,
    gravity_width: float = 0.001,
) -> Components:
    """*Pressure applied*, mm of the product; level above the diaphragm in m, density in kg/m³.

    calibrator: from its certificate, in kPa; else ± (0.02 % of reading + 0.01 % of
    range_kilopascals). port: height between calibrator and diaphragm, mm. density_width,
    gravity_width: kg/m³ and m/s².
    """
    height = not_below_zero("level", level)
    rho = above_zero("density", density)
    usual = specification(
        "pressure calibrator",
        rho * GRAVITY * height / 1000,
        percent_of_reading=0.02,
        percent_of_range=0.01,
        range_value=range_kilopascals,
    )
    return (
        *scaled(calibrator or (usual,), millimetres_per_kilopascal(rho)),
        rectangle("height of the port", port, shared=True),
        rectangle("density", float_or_array(1000 * height * density_width / rho), shared=True),
        rectangle("gravity", float_or_array(1000 * height * gravity_width / GRAVITY), shared=True),
    )


@limits_size("density")
def millimetres_per_kilopascal(density: Floats) -> Floats:
    """Height of the product, kg/m³, that a kilopascal holds up.

    >>> round(millimetres_per_kilopascal(1000.0), 2)
    101.97
    """
    return float_or_array(1e6 / (above_zero("density", density) * GRAVITY))


@limits_size("air_kelvin")
def target_at_distance(
    distance: Floats,
    *,
    length: Components = (),
    tilt: float = 2.0,
    face: float = 1.0,
    air_kelvin: float = 0.0,
) -> Components:
    """*Target at known distance*, mm; distance in m.

    length: tape or laser, mm; else U = 2 mm, k = 2. air_kelvin: limit of the air's temperature, K,
    for ultrasonic only (1 K by common practice).
    """
    away = not_below_zero("distance", distance)
    air = (
        rectangle(
            "air temperature",
            float_or_array(1000 * SOUND_PER_KELVIN * air_kelvin * away),
            shared=True,
        ),
    )
    return (
        *(length or (certificate("tape or laser", 2.0, 2.0),)),
        rectangle("tilt and aim", tilt),
        rectangle("reference face", face, shared=True),
        *(air if air_kelvin else ()),
    )


@limits_size("level", "density_width")
def weights_on_hanger(
    level: Floats,
    *,
    mass: Floats,
    length: float,
    volume: float,
    density: float,
    weights: Components = (),
    weights_share: float = WEIGHTS_M2,
    volume_percent: float = 0.3,
    density_width: float = 1.0,
) -> Components:
    """*Weights on hanger*, mm of the product; level along the displacer in m, mass hung in kg.

    length (m) and volume (m³) of the displacer, density of the product (kg/m³). weights: from their
    certificate, in kg; else ``weights_share`` of the mass. Friction shows in the repeats.
    """
    height = not_below_zero("level", level)
    per_kilogram = millimetres_per_kilogram(length=length, volume=volume, density=density)
    width = float_or_array(weights_share * per_kilogram * not_below_zero("mass", mass))
    return (
        *(scaled(weights, per_kilogram) or (rectangle("weights", width, shared=True),)),
        rectangle("displacer volume", float_or_array(10 * volume_percent * height), shared=True),
        rectangle("density", float_or_array(1000 * height * density_width / density), shared=True),
    )


def millimetres_per_kilogram(*, length: float, volume: float, density: float) -> float:
    """Height of the product along a displacer (m, m³) that bears as much as a kilogram less hung.

    >>> millimetres_per_kilogram(length=1.0, volume=0.001, density=1000.0)
    1000.0
    """
    above_zero("length, volume, density", (length, volume, density))
    return 1000 * length / (density * volume)


def float_moved(
    *, length: Components = (), scale: float = 1.0, draft: float = 3.0, pitch: float = 0.0
) -> Components:
    """*Float moved along its rod*, mm. pitch: step of a reed chain, of which half is the limit.

    length: the tape it was moved by, from its certificate, mm; else the scale of the rod.
    """
    chain = (rectangle("step of the reed chain", pitch / 2),) if pitch else ()
    return (
        *(length or (rectangle("scale of the rod", scale, shared=True),)),
        rectangle("draft of the float", draft, shared=True),
        *chain,
    )
