"""What reads the output, as components of the uncertainty: the meter on the loop, its resistor, or
the last digit of a display.

What a certificate leaves out is taken from the defaults of calibration.metrology.components and
marked as assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np

from calibration.metrology import components as known
from calibration.metrology.uncertainty import scaled
from calibration.records.certificate_parts import stated_components
from calibration.records.entry import ReadingEntry
from calibration.records.models import Reading
from calibration.records.setup import METERS, Setup
from calibration.records.uncertainty import Parts
from calibration.standards.models import ReferenceStandard
from plant.level.signals import Signal, signal_at

LOOP_OHMS = 250.0  # 1 to 5 V for 4 to 20 mA
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
    meter = _meter(setup, observed, digit).scaled(100 / setup.signal.span)
    return meter + _resistor(setup, observed).scaled(100 / setup.signal.span)


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


def _meter(setup: Setup, observed: np.ndarray, digit: float) -> Parts:
    """In the unit of the signal; a meter certified in volts reads a current over the loop
    resistor.
    """
    certificate = setup.certificate(*METERS)
    factor = signal_per_unit(setup.signal, certificate.unit) if certificate else None
    if certificate is None or factor is None:
        by = setup.signal.span / 16.0
        parts = scaled(known.default_meter(observed / by, step=digit / by), by)
        return Parts(parts, frozenset(c.name for c in parts))
    stated = scaled(stated_components("meter", certificate, observed / factor), factor)
    finest = float(certificate.resolution) * factor if certificate.resolution else digit
    parts = (*stated, known.resolution("meter resolution", finest))
    if setup.ambient_c is not None:
        parts = (*parts, known.meter_temperature(observed, float(setup.ambient_c)))
    if stated:
        return Parts(parts, frozenset({"meter temperature"}))
    absolute = 0.002 * setup.signal.span / 16
    usual = known.specification(
        "meter specification", observed, percent_of_reading=0.02, absolute=absolute
    )
    return Parts((usual, *parts), frozenset({usual.name, "meter temperature"}))


def signal_per_unit(signal: Signal, unit: str) -> float | None:
    """Units of the signal in one of a meter's certificate; None where its figures say nothing of
    this signal. A current is read as a voltage over the loop resistor.
    """
    volts = {"V": 1.0, "mV": 0.001}
    if unit == signal.unit:
        return 1.0
    if unit not in volts:
        return None
    return volts[unit] * (1.0 if signal.unit == "V" else 1000.0 / LOOP_OHMS)


def _resistor(setup: Setup, observed: np.ndarray) -> Parts:
    certificate = setup.certificate(ReferenceStandard.Kind.RESISTOR)
    if certificate is None:
        return Parts(())
    limits = [
        part for part in (certificate.percent_of_reading, certificate.percent_of_range) if part
    ]
    if limits:
        return Parts((known.loop_resistor(observed, percent=float(sum(limits))),))
    usual = known.loop_resistor(observed)
    return Parts((usual,), frozenset({usual.name}))


def _last_digit(value: Decimal) -> float:
    """The last digit as typed."""
    exponent = value.as_tuple().exponent
    return float(10 ** (exponent if isinstance(exponent, int) else 0))
