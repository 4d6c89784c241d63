"""Components of uncertainty: standards, readings, and the way the input was applied.

The half-widths are defaults: each is a keyword. Levels in m, heights and results of the level ways
in mm; scaled() brings them to mA or % of span. Where no other source is named they are common
practice, no source. Numbers may be arrays (points of a test, a fleet); a name is the same at every
level, so that readings at two levels pair by it. shared marks the same error in every reading of
one test.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.metrology.uncertainty import Component, Shape
from plant.level.arrays import Floats, plain
from plant.level.checks import BadArgument, above_zero, not_below_zero, numbers

Components = tuple[Component, ...]

GRAVITY = 9.80665  # m/s², standard value
STEEL = 11.5e-6  # expansion of a steel tape per K (common practice, no source)
SOUND_PER_KELVIN = 0.0017  # share of the distance per K near 20 °C, from 331.3 √(1 + t/273.15) m/s
# Half-widths of a dip tape, mm: fixed part, part for each metre begun, addition for the bob.
# Source: EU 2014/32, annex X (MI-008), classes I and II; the addition from memory.
TAPES = {1: (0.1, 0.1, 0.2), 2: (0.3, 0.2, 0.2)}
# Masses of a class, as a share of the mass. Source: OIML R 111 (from memory).
WEIGHTS_M2 = 0.00016


def _rectangle(name: str, half_width: Floats, *, shared: bool = False) -> Component:
    return Component(name, half_width, Shape.RECTANGULAR, shared=shared)


def specification(
    name: str,
    reading: Floats,
    *,
    percent_of_reading: float = 0.0,
    percent_of_range: float = 0.0,
    range_value: float = 0.0,
    absolute: float = 0.0,
    digits: float = 0.0,
    resolution: float = 0.0,
) -> Component:
    """A maker's limits ± (% of reading + % of range + absolute + digits × resolution).

    A rectangle. range_value: width of the range to which percent_of_range refers. Raises
    BadArgument where all parts are missing or one is negative: a standard without any limit would
    make a budget of nothing.

    >>> specification("meter", 20.0, percent_of_reading=0.02, absolute=0.002).value
    0.006
    """
    parts = (percent_of_reading, percent_of_range, range_value, absolute, digits, resolution)
    not_below_zero(f"specification of “{name}”", parts)
    fixed = percent_of_range / 100 * range_value + absolute + digits * resolution
    if fixed == 0 and percent_of_reading == 0:
        raise BadArgument(f"specification of “{name}”", "no limit is given")
    width = percent_of_reading / 100 * np.abs(np.asarray(reading, dtype=float)) + fixed
    return _rectangle(name, plain(width), shared=True)


def certificate(
    name: str, expanded: Floats, coverage_factor: float, *, dof: float = math.inf
) -> Component:
    """A laboratory's expanded uncertainty U and its k, as a normal.

    Raises ValueError where k is not above zero.
    """
    above_zero(f"coverage factor of “{name}”", coverage_factor)
    return Component(name, expanded, divisor=coverage_factor, dof=dof, shared=True)


def resolution(name: str, step: Floats) -> Component:
    """The last digit of a display, ± half a step. Raises ValueError where the step is negative.

    >>> resolution("meter resolution", 0.001).value
    0.0005
    """
    return _rectangle(name, plain(np.asarray(step, dtype=float) / 2))


def repeatability_of(name: str, readings: Floats) -> Component:
    """Standard uncertainty of the mean of repeated readings: s/√n, n − 1 degrees of freedom.

    readings: along the last axis. Raises BadArgument for fewer than two readings or one that is
    not a number. Source: JCGM 100:2008, 4.2.3.

    >>> round(repeatability_of("meter", [11.998, 12.001, 12.001]).u, 6)
    0.001
    """
    values = numbers(f"readings of “{name}”", readings)
    if values.ndim == 0 or values.shape[-1] < 2:
        raise BadArgument(
            f"readings of “{name}”", "at least two are needed to see how they scatter"
        )
    count = values.shape[-1]
    return Component(
        name, plain(values.std(axis=-1, ddof=1) / math.sqrt(count)), Shape.TYPE_A, dof=count - 1
    )


def known_repeatability(name: str, scatter: float, *, repeats: int, dof: float) -> Component:
    """The mean of so many readings whose scatter (standard deviation) is known beforehand."""
    if repeats < 1:
        raise BadArgument(f"repeats of “{name}”", f"{repeats} is not one or more")
    return Component(name, scatter / math.sqrt(repeats), Shape.TYPE_A, dof=dof)


def meter_temperature(
    reading: Floats,
    celsius: Floats,
    *,
    percent_per_kelvin: float = 0.002,
    reference: float = 23.0,
    room: float = 5.0,
) -> Component:
    """Error of a meter outside its reference temperature ± room, °C.

    percent_per_kelvin: % of reading for each K beyond.
    """
    beyond = np.maximum(np.abs(np.asarray(celsius, dtype=float) - reference) - room, 0.0)
    width = percent_per_kelvin / 100 * np.abs(np.asarray(reading, dtype=float)) * beyond
    return _rectangle("meter temperature", plain(width), shared=True)


def loop_resistor(reading: Floats, *, percent: float = 0.01) -> Component:
    """The resistor across which a current is read in volts.

    percent: its limit; it makes the same % of the current read.
    """
    return _rectangle(
        "loop resistor",
        plain(percent / 100 * np.abs(np.asarray(reading, dtype=float))),
        shared=True,
    )


def default_meter(reading: Floats, *, celsius: Floats = 23.0, step: float = 0.001) -> Components:
    """A loop meter without a certificate, mA: ± (0.02 % of reading + 0.002 mA).

    With its last digit, ``step`` mA, and its temperature.
    """
    return (
        specification("meter specification", reading, percent_of_reading=0.02, absolute=0.002),
        resolution("meter resolution", step),
        meter_temperature(reading, celsius),
    )


# The nine ways in which an input is applied. Each gives what the *input* brings; the meter that
# reads the output and the repeats of its readings come beside it.


def simulated_output(*, step: float = 0.001) -> Components:
    """*Simulated output*, mA: the steps in which its current can be set. Leaves out the probe."""
    return (_rectangle("output step", step),)


def wetted_by_dip(
    level: Floats,
    *,
    tape_class: int = 2,
    tape: Component | None = None,
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
    if tape is None and tape_class not in TAPES:
        raise BadArgument("tape_class", f"{tape_class} is neither 1 nor 2")
    if tape is None:
        fixed, per_metre, bob = TAPES[tape_class]
        tape = _rectangle("dip tape", plain(fixed + per_metre * np.ceil(height) + bob), shared=True)
    repeats = (
        known_repeatability("dips", scatter, repeats=dips, dof=max(dips - 1, 1))
        if readings is None
        else repeatability_of("dips", readings)
    )
    return (
        tape,
        Component("reading the cut", cut, Shape.TRIANGULAR),
        _rectangle("datum plate and bottom", datum, shared=True),
        _rectangle("surface motion and time offset", surface),
        _rectangle("tape temperature", plain(1000 * STEEL * tape_kelvin * height), shared=True),
        repeats,
    )


def wetted_by_gauge_glass(
    height: Floats, *, scale: float = 2.0, meniscus: float = 2.0, column_percent: float = 0.5
) -> Components:
    """*Wetted level by gauge glass*, mm; height of the column in the glass, m.

    column_percent: what is left, in % of the height, after correcting a glass that is colder than
    the tank.
    """
    column = 1000 * column_percent / 100 * not_below_zero("height", height)
    return (
        _rectangle("glass scale", scale, shared=True),
        _rectangle("meniscus and parallax", meniscus),
        _rectangle("density of the column", plain(column), shared=True),
    )


def probe_raised(
    span: Floats, *, mark: float = 3.0, film: float = 5.0, nozzle_percent: float = 0.5
) -> Components:
    """*Probe raised out of product*, mm; span in m. film: what clings, 20 mm for molasses.

    nozzle_percent: of span, for the geometry that changes at the nozzle. For sense and zero, not
    for a span of record.
    """
    nozzle = 1000 * nozzle_percent / 100 * not_below_zero("span", span)
    return (
        _rectangle("mark on the probe", mark),
        _rectangle("clinging film", film),
        _rectangle("geometry at the nozzle", plain(nozzle), shared=True),
    )


def capacitance_substituted(
    picofarads: Floats,
    *,
    empty: Floats = 0.0,
    box: Component | None = None,
    residual: float = 2.0,
    probe_percent: float = 0.5,
) -> Components:
    """*Capacitance substituted*, pF set on the decade box; empty: pF of the dry probe.

    box: from its certificate, in pF; else ± (0.5 % + 2 pF). probe_percent: limit of the real
    probe's pF per metre, %, which this way does not test; it grows with what is added to the
    empty probe.
    """
    set_to = not_below_zero("picofarads", picofarads)
    wetted = np.abs(set_to - not_below_zero("empty", empty))
    return (
        box or specification("decade box", set_to, percent_of_reading=0.5, absolute=2.0),
        _rectangle("residual and leads", residual, shared=True),
        _rectangle("pF per metre of the probe", plain(probe_percent / 100 * wetted), shared=True),
    )


def pressure_applied(
    level: Floats,
    *,
    density: Floats,
    range_kilopascals: float = 0.0,
    calibrator: Component | None = None,
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
    kilopascals = rho * GRAVITY * height / 1000
    known = calibrator or specification(
        "pressure calibrator",
        kilopascals,
        percent_of_reading=0.02,
        percent_of_range=0.01,
        range_value=range_kilopascals,
    )
    return (
        Component(
            known.name,
            known.value,
            known.shape,
            divisor=known.divisor,
            sensitivity=plain(1e6 / (rho * GRAVITY)),
            dof=known.dof,
            shared=True,
        ),
        _rectangle("height of the port", port, shared=True),
        _rectangle("density", plain(1000 * height * density_width / rho), shared=True),
        _rectangle("gravity", plain(1000 * height * gravity_width / GRAVITY), shared=True),
    )


def target_at_distance(
    distance: Floats,
    *,
    length: Component | None = None,
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
        _rectangle(
            "air temperature", plain(1000 * SOUND_PER_KELVIN * air_kelvin * away), shared=True
        ),
    )
    return (
        length or certificate("tape or laser", 2.0, 2.0),
        _rectangle("tilt and aim", tilt),
        _rectangle("reference face", face, shared=True),
        *(air if air_kelvin else ()),
    )


def weights_on_hanger(
    level: Floats,
    *,
    mass: Floats,
    length: float,
    volume: float,
    density: float,
    weights_share: float = WEIGHTS_M2,
    volume_percent: float = 0.3,
    density_width: float = 1.0,
) -> Components:
    """*Weights on hanger*, mm of the product; level along the displacer in m, mass hung in kg.

    length (m) and volume (m³) of the displacer, density of the product (kg/m³). Friction shows in
    the repeats.
    """
    height = not_below_zero("level", level)
    above_zero("length, volume, density", (length, volume, density))
    per_kilogram = 1000 * length / (density * volume)
    mass_width = weights_share * not_below_zero("mass", mass)
    return (
        _rectangle("weights", plain(mass_width * per_kilogram), shared=True),
        _rectangle("displacer volume", plain(10 * volume_percent * height), shared=True),
        _rectangle("density", plain(1000 * height * density_width / density), shared=True),
    )


def float_moved(*, scale: float = 1.0, draft: float = 3.0, pitch: float = 0.0) -> Components:
    """*Float moved along its rod*, mm. pitch: step of a reed chain, of which half is the limit."""
    chain = (_rectangle("step of the reed chain", pitch / 2),) if pitch else ()
    return (
        _rectangle("scale of the rod", scale, shared=True),
        _rectangle("draft of the float", draft, shared=True),
        *chain,
    )
