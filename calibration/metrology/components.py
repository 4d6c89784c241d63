"""Components of uncertainty from standards, certificates and repeated readings.

The half-widths are defaults: each is a keyword. Where no other source is named they are common
practice, no source. Numbers may be arrays (points of a test, a fleet); a name is the same at every
level, so that readings at two levels pair by it. shared marks the same error in every reading of
one test.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.metrology.uncertainty import Component, Shape
from plant.level.arrays import Floats, float_or_array
from plant.level.checks import (
    BadArgument,
    above_zero,
    limits_size,
    not_below_zero,
    numbers,
    takes_numbers,
)

Components = tuple[Component, ...]
# Error of a meter beyond its room temperature, % of reading for each K (no source).
METER_PER_KELVIN = 0.002


def rectangle(name: str, half_width: Floats, *, shared: bool = False) -> Component:
    """Limits ± half_width between which every value is as likely as another."""
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
    return rectangle(name, float_or_array(width), shared=True)


def certificate(
    name: str, expanded: Floats, coverage_factor: float, *, dof: float = math.inf
) -> Component:
    """A laboratory's expanded uncertainty U and its k, as a normal.

    Raises BadArgument where k is not above zero.
    """
    above_zero(f"coverage factor of “{name}”", coverage_factor)
    return Component(name, expanded, divisor=coverage_factor, dof=dof, shared=True)


def resolution(name: str, step: Floats) -> Component:
    """The last digit of a display, ± half a step. Raises BadArgument where the step is negative.

    >>> resolution("meter resolution", 0.001).value
    0.0005
    """
    return rectangle(name, float_or_array(np.asarray(step, dtype=float) / 2))


@limits_size("readings")
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
        name,
        float_or_array(values.std(axis=-1, ddof=1) / math.sqrt(count)),
        Shape.TYPE_A,
        dof=count - 1,
    )


def known_repeatability(name: str, scatter: float, *, repeats: int, dof: float) -> Component:
    """The mean of so many readings whose scatter (standard deviation) is known beforehand."""
    if repeats < 1:
        raise BadArgument(f"repeats of “{name}”", f"{repeats} is not one or more")
    return Component(name, scatter / math.sqrt(repeats), Shape.TYPE_A, dof=dof)


@takes_numbers("reading", "celsius", "percent_per_kelvin", "reference", "room")
def meter_temperature(
    reading: Floats,
    celsius: Floats,
    *,
    percent_per_kelvin: float = METER_PER_KELVIN,
    reference: float = 23.0,
    room: float = 5.0,
) -> Component:
    """Error of a meter outside its reference temperature ± room, °C.

    percent_per_kelvin: % of reading for each K beyond.
    """
    beyond = np.maximum(np.abs(np.asarray(celsius, dtype=float) - reference) - room, 0.0)
    width = percent_per_kelvin / 100 * np.abs(np.asarray(reading, dtype=float)) * beyond
    return rectangle("meter temperature", float_or_array(width), shared=True)


@takes_numbers("reading", "true")
def resistor_error(reading: Floats, *, marked: Floats, true: Floats) -> Floats:
    """By how much too high a current was read as the voltage over a resistor of ``true`` ohm that
    was taken for one of ``marked`` ohm.

    Raises BadArgument where one of them is not above zero.

    >>> round(resistor_error(20.02, marked=250.0, true=250.25), 6)
    0.02
    """
    ohms = above_zero("marked", marked) / above_zero("true", true)
    return float_or_array(np.asarray(reading, dtype=float) * (1 - ohms))


def default_meter(reading: Floats, *, celsius: Floats = 23.0, step: float = 0.001) -> Components:
    """A loop meter without a certificate, mA: ± (0.02 % of reading + 0.002 mA).

    With its last digit, ``step`` mA, and its temperature.
    """
    return (
        specification("meter specification", reading, percent_of_reading=0.02, absolute=0.002),
        resolution("meter resolution", step),
        meter_temperature(reading, celsius),
    )
