"""The units that certificates are written in, each in the unit that the budget takes them in."""

from __future__ import annotations

from collections.abc import Mapping

from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import Signal

Units = Mapping[str, float]
Kind = ReferenceStandard.Kind

PERCENT = "%"  # of what is read, whatever is measured
LOOP_OHMS = 250.0  # 1 to 5 V for 4 to 20 mA
MILLIMETRES: Units = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
KILOPASCALS: Units = {
    "Pa": 0.001,
    "hPa": 0.1,
    "mbar": 0.1,
    "kPa": 1.0,
    "bar": 100.0,
    "MPa": 1000.0,
}
PICOFARADS: Units = {"pF": 1.0, "nF": 1000.0}
KILOGRAMS: Units = {"kg": 1.0, "g": 0.001, "mg": 0.000001}
OHMS: Units = {"Ω": 1.0, "ohm": 1.0, "kΩ": 1000.0, "kohm": 1000.0}
KELVINS: Units = {"K": 1.0, "°C": 1.0}
DENSITIES: Units = {"kg/m³": 1.0, "kg/m3": 1.0, "g/cm³": 1000.0, "g/cm3": 1000.0}
VOLTS: Units = {"V": 1.0, "mV": 0.001}
# In what each kind is certified; of a meter it depends on the output that it reads.
UNITS_OF: Mapping[str, Units] = {
    Kind.DIP_TAPE: MILLIMETRES,
    Kind.LENGTH: MILLIMETRES,
    Kind.PRESSURE_CALIBRATOR: KILOPASCALS,
    Kind.DECADE_BOX: PICOFARADS,
    Kind.WEIGHTS: KILOGRAMS,
    Kind.RESISTOR: OHMS,
    Kind.THERMOMETER: KELVINS,
    Kind.HYDROMETER: DENSITIES,
}
RESISTANCES = frozenset({*OHMS, "mΩ", "MΩ", "GΩ"})
# Units of one quantity each, in which a step may ask for a number.
QUANTITIES = tuple(map(frozenset, (*UNITS_OF.values(), VOLTS, RESISTANCES)))
# What a standard of no named kind stands for, by the unit of its certificate.
OTHERS: Mapping[str, str] = {
    "mA": Kind.MULTIMETER,
    **dict.fromkeys(VOLTS, Kind.MULTIMETER),
    **{unit: kind for kind, units in UNITS_OF.items() if kind != Kind.DIP_TAPE for unit in units},
}


def kind_of(standard: ReferenceStandard, certificate: StandardCertificate) -> str:
    """Its kind; of another one, the kind that the unit of its certificate makes of it."""
    if standard.kind != Kind.OTHER:
        return standard.kind
    return OTHERS.get(certificate.unit, Kind.OTHER)


def same_quantity(one: str, other: str) -> bool:
    """Whether what is measured in one unit can be measured in the other: Ω and MΩ."""
    return one == other or any({one, other} <= units for units in QUANTITIES)


def signal_per_unit(signal: Signal, unit: str) -> float | None:
    """Units of the signal in one of a meter's certificate; None where its figures say nothing of
    this signal. A current is read as a voltage over the loop resistor.
    """
    if unit == signal.unit:
        return 1.0
    if unit not in VOLTS:
        return None
    return VOLTS[unit] * (1.0 if signal.unit == "V" else 1000.0 / LOOP_OHMS)


def units_of_meter(signal: Signal) -> Units:
    """What a meter of that output may be certified in."""
    factors = {unit: signal_per_unit(signal, unit) for unit in ("mA", *VOLTS)}
    return {unit: factor for unit, factor in factors.items() if factor is not None}
