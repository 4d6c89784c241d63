"""Which standards a record may list: each bears on the errors by its certificate, or a step of the
procedure asks for what it measures; any other is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calibration.procedures.models import InputWay, ProcedureVersion
from calibration.records.certificate_units import (
    LOOP_OHMS,
    OHMS,
    PERCENT,
    UNITS_OF,
    Kind,
    kind_of,
    same_quantity,
    units_of_meter,
)
from calibration.records.refusals import (
    AccuracyNotStated,
    RangeNotStated,
    StandardNotCounted,
    StandardNotUsed,
    UnitOfNoUse,
)
from calibration.records.setup import METERS
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.points.models import MeasuringPoint

LENGTHS = frozenset({Kind.DIP_TAPE, Kind.LENGTH})
# What applies or measures the input, by way; trade custom, no source.
APPLIES: Mapping[str, frozenset[str]] = {
    InputWay.SIMULATED_OUTPUT: frozenset(),
    InputWay.DIP: frozenset({Kind.DIP_TAPE}),
    InputWay.GAUGE_GLASS: LENGTHS,
    InputWay.PROBE_RAISED: LENGTHS,
    InputWay.CAPACITANCE: frozenset({Kind.DECADE_BOX}),
    InputWay.PRESSURE: frozenset({Kind.PRESSURE_CALIBRATOR}),
    InputWay.TARGET: LENGTHS,
    InputWay.WEIGHTS: frozenset({Kind.WEIGHTS}),
    InputWay.FLOAT_MOVED: LENGTHS,
}
# Where the density of the product makes a level of what is applied.
BY_DENSITY = frozenset({InputWay.GAUGE_GLASS, InputWay.PRESSURE, InputWay.WEIGHTS})
# What reads the output, or feels the temperature of the meter that does: of use by every way.
OF_OUTPUT = frozenset({*METERS, Kind.RESISTOR, Kind.THERMOMETER})
LIMITS = ("percent_of_reading", "percent_of_range", "absolute")
# Kinds of which one value is the whole range.
SINGLE_VALUED = frozenset({Kind.RESISTOR})


def check_use(
    standard: ReferenceStandard,
    certificate: StandardCertificate,
    point: MeasuringPoint,
    way: str,
    version: ProcedureVersion | None,
) -> None:
    """Refuse a standard whose certificate gives no part of the uncertainty of a test of ``point``
    by ``way``, unless it is a check tool of the procedure's version.
    """
    kind = kind_of(standard, certificate)
    if is_check_tool(standard, certificate, way, version):
        return
    if not is_used(kind, way):
        raise StandardNotUsed(standard, kind, way)
    _check_unit(standard, certificate, kind, point)
    _check_stated(standard, certificate, kind)


def is_used(kind: str, way: str) -> bool:
    """Whether a figure of a test by ``way`` rests on a standard of that kind."""
    if kind == Kind.HYDROMETER:
        return way in BY_DENSITY
    return kind in OF_OUTPUT or kind in APPLIES[way]


def is_check_tool(
    standard: ReferenceStandard,
    certificate: StandardCertificate,
    way: str,
    version: ProcedureVersion | None,
) -> bool:
    """Whether no error rests on it, but a step asks for a number that it measures: a bond tester
    where the step asks for Ω.
    """
    if version is None or is_used(kind_of(standard, certificate), way):
        return False
    return any(same_quantity(certificate.unit, unit) for unit in version.units_asked)


def why_not_of_use(
    standard: ReferenceStandard,
    certificate: StandardCertificate,
    point: MeasuringPoint,
    way: str,
    version: ProcedureVersion | None,
) -> str:
    """The reason of that refusal; "" where it may be listed."""
    try:
        check_use(standard, certificate, point, way, version)
    except StandardNotCounted as refusal:
        return refusal.why
    return ""


def best_of(
    standard: ReferenceStandard,
    certificates: Sequence[StandardCertificate],
    point: MeasuringPoint,
    way: str,
    version: ProcedureVersion | None,
) -> StandardCertificate:
    """Of its certificates, such as one in mA and one in V: the first that is of use in a test of
    ``point`` by ``way``, or else the first.
    """
    return next(
        (c for c in certificates if not why_not_of_use(standard, c, point, way, version)),
        certificates[0],
    )


def _check_unit(
    standard: ReferenceStandard,
    certificate: StandardCertificate,
    kind: str,
    point: MeasuringPoint,
) -> None:
    is_meter = kind in METERS
    units = units_of_meter(point.output) if is_meter else UNITS_OF[kind]
    relative = {PERCENT} - ({PERCENT} if kind == Kind.THERMOMETER else set())
    if certificate.unit not in {*units, *relative}:
        raise UnitOfNoUse(standard, certificate.unit, list(units), point.output.unit * is_meter)


def _check_stated(standard: ReferenceStandard, certificate: StandardCertificate, kind: str) -> None:
    ends = (certificate.range_low, certificate.range_high)
    if certificate.percent_of_range and None in ends and kind not in SINGLE_VALUED:
        raise RangeNotStated(standard, certificate)
    limits = any(getattr(certificate, name) for name in LIMITS)
    if not limits and certificate.expanded_uncertainty is None:
        raise AccuracyNotStated(standard, certificate)
    per_ohm = {**OHMS, PERCENT: LOOP_OHMS / 100}
    if kind == Kind.RESISTOR:
        off = float(certificate.deviation or 0) * per_ohm[certificate.unit]
        if abs(off) >= LOOP_OHMS:
            raise StandardNotCounted(standard, "Its certified deviation is as large as itself.")
