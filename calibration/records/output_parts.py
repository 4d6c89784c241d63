"""What reads the output, as components of the uncertainty: the meter on the loop, its resistor, or
the last digit of a display.

What a certificate leaves out is taken from the defaults of calibration.metrology.components and
marked as assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np

from calibration.metrology import components as known
from calibration.metrology.uncertainty import scaled
from calibration.records.certificate_parts import resolution_of, stated_parts, uncorrected
from calibration.records.certificate_units import (
    KELVINS,
    LOOP_OHMS,
    OHMS,
    Kind,
    units_of_meter,
)
from calibration.records.entry import ReadingEntry
from calibration.records.models import Reading
from calibration.records.setup import METERS, Setup
from calibration.records.uncertainty import Parts
from plant.level.signals import signal_at

ROOM = 20.0  # °C, where nobody noted the day's
COARSE = 0.01  # mA: no coarser display is put on a loop


def output_parts(setup: Setup, readings: Sequence[ReadingEntry]) -> Parts:
    """The meter on the loop; or the last digit of the display where an indication decides. In % of
    span, a place for each reading.
    """
    if all(r.indication is not None for r in readings):
        return _display(readings, abs(setup.ends["upper"] - setup.ends["lower"]))
    applied = np.array([float(r.applied) for r in readings])
    expected = signal_at(applied, **setup.ends, signal=setup.signal)
    pairs = zip(readings, np.ravel(expected).tolist(), strict=True)
    observed = np.array([e if r.observed is None else float(r.observed) for r, e in pairs])
    digit = meter_digit(readings, coarsest=COARSE * setup.signal.span / 16)
    parts = _meters(setup, observed, digit) + _resistor(setup, observed)
    parts = (parts + _temperature(setup, observed)).scaled(100 / setup.signal.span)
    by_output = np.array([r.indication is None for r in readings], dtype=float)
    return replace(parts, corrections=tuple(one.scaled(by_output) for one in parts.corrections))


def meter_digit(readings: Sequence[ReadingEntry], *, coarsest: float) -> float:
    """The last digit of the meter. Trailing noughts are often left untyped: the finest reading
    shows it.
    """
    read = [
        r.observed
        for r in readings
        if r.observed is not None and r.origin != Reading.Origin.COMPUTED
    ]
    return min([*(_last_digit(value) for value in read), coarsest])


def _display(readings: Sequence[ReadingEntry], span: float) -> Parts:
    digits = [_last_digit(r.indication) for r in readings if r.indication is not None]
    digit = min([*digits, 0.001 * span])
    return Parts((known.resolution("display", 100 * digit / span),))


def _meters(setup: Setup, observed: np.ndarray, digit: float) -> Parts:
    """In the unit of the signal; a meter certified in volts reads a current over the loop
    resistor. Of several each counts in full: nothing says which of them read what.
    """
    meters = list(setup.certified_as("meter", *METERS))
    if not meters:
        by = setup.signal.span / 16.0
        parts = scaled(known.default_meter(observed / by, step=digit / by), by)
        return Parts(parts, frozenset(c.name for c in parts))
    units, whole = units_of_meter(setup.signal), Parts(())
    for name, standard, certificate in meters:
        step = resolution_of(certificate, observed, units, otherwise=digit)
        whole += stated_parts(name, standard, certificate, observed, units)
        whole += Parts((known.resolution(f"{name} resolution", step),))
    if setup.ambient_c is None:
        return whole
    beyond = known.meter_temperature(observed, float(setup.ambient_c))
    return whole + Parts((beyond,), frozenset({beyond.name}))


def _resistor(setup: Setup, observed: np.ndarray) -> Parts:
    """What makes so many % of its ohms makes as many of the current."""
    whole, nominal = Parts(()), np.full(observed.shape, LOOP_OHMS)
    for name, standard, certificate in setup.certified_as("loop resistor", Kind.RESISTOR):
        ohms = stated_parts(name, standard, certificate, nominal, OHMS, whole=LOOP_OHMS)
        exact = tuple(replace(one, shift=_over_it(one.shift)) for one in ohms.corrections)
        whole += replace(ohms, corrections=exact).scaled(observed / LOOP_OHMS)
    return whole


def _over_it(deviation: np.ndarray) -> np.ndarray:
    """By how much a current of LOOP_OHMS units was read too high, over a resistor that is marked so
    many ohms more than it has.
    """
    at, true = np.full(deviation.shape, LOOP_OHMS), LOOP_OHMS - deviation
    return np.asarray(known.resistor_error(at, marked=LOOP_OHMS, true=true))


def _temperature(setup: Setup, observed: np.ndarray) -> Parts:
    """A thermometer's part in what the meter's temperature makes of its readings."""
    per_kelvin = known.METER_PER_KELVIN / 100 * np.abs(observed)
    noted = setup.ambient_c
    celsius = np.full(observed.shape, ROOM if noted is None else float(noted))
    whole = Parts(())
    for name, standard, certificate in setup.certified_as(
        "thermometer at the meter", Kind.THERMOMETER
    ):
        parts = stated_parts(name, standard, certificate, celsius, KELVINS)
        whole += uncorrected(name, parts).scaled(per_kelvin)
    return whole


def _last_digit(value: Decimal) -> float:
    """The last digit as typed."""
    exponent = value.as_tuple().exponent
    return float(10 ** (exponent if isinstance(exponent, int) else 0))
