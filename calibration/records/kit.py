"""Which reference standards serve a job, and how good the test would be with each (test uncertainty
ratio).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from calibration.jobs.models import Job
from calibration.metrology.decision import uncertainty_ratio
from calibration.procedures.models import InputWay, ProcedureVersion
from calibration.records.budgets import u_input, u_output
from calibration.records.certificate_parts import IN_MM
from calibration.records.entry import ReadingEntry
from calibration.records.output_parts import signal_per_unit
from calibration.records.setup import METERS, Certified, Setup
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import signal_at
from plant.level.units import LENGTH_UNITS
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter

LENGTHS = frozenset({ReferenceStandard.Kind.DIP_TAPE, ReferenceStandard.Kind.LENGTH})
# What applies or measures the input, by way; trade custom, no source.
APPLIES: Mapping[str, frozenset[str]] = {
    InputWay.SIMULATED_OUTPUT: frozenset(),
    InputWay.DIP: frozenset({ReferenceStandard.Kind.DIP_TAPE}),
    InputWay.GAUGE_GLASS: LENGTHS,
    InputWay.PROBE_RAISED: LENGTHS,
    InputWay.CAPACITANCE: frozenset({ReferenceStandard.Kind.DECADE_BOX}),
    InputWay.PRESSURE: frozenset({ReferenceStandard.Kind.PRESSURE_CALIBRATOR}),
    InputWay.TARGET: LENGTHS,
    InputWay.WEIGHTS: frozenset({ReferenceStandard.Kind.WEIGHTS}),
    InputWay.FLOAT_MOVED: LENGTHS,
}
# Of use on any job, beside what the figures rest on.
OF_USE_ANYWHERE = frozenset(
    {
        ReferenceStandard.Kind.THERMOMETER,
        ReferenceStandard.Kind.HYDROMETER,
        ReferenceStandard.Kind.BOND_TESTER,
        ReferenceStandard.Kind.OTHER,
    }
)


class Kit:
    """The standards of some sites with their certificates; judged for one job after the other."""

    def __init__(
        self, certified: Mapping[ReferenceStandard, Sequence[StandardCertificate]]
    ) -> None:
        self._certified = certified

    def of(
        self,
        job: Job,
        transmitter: Transmitter | None,
        version: ProcedureVersion,
        *,
        at: dt.datetime,
    ) -> dict[str, dict[str, Any]]:
        """By standard of the job's site: whether it serves the version's way, why not, and the
        ratio it gives.

        The certificate is today's, else the one that was valid longest: the tablet says by itself
        what has lapsed.
        """
        today, kit = job.site.day_of(at), {}
        ratio = _Ratio(job.point, transmitter, version.way) if transmitter else None
        for standard, rows in self._certified.items():
            if standard.site_id != job.site_id:
                continue
            row = next((c for c in rows if c.issued_on <= today <= c.valid_until), rows[0])
            why = unfit(standard, row, job.point, version.way)
            kit[str(standard.pk)] = {
                "fits": not why,
                "why": why,
                "tur": ratio.of(standard, row) if ratio and not why else None,
            }
        return kit


def unfit(
    standard: ReferenceStandard, certificate: StandardCertificate, point: MeasuringPoint, way: str
) -> str:
    """Why this standard does not serve a test of ``point`` by ``way``; "" where it does."""
    kind = standard.kind
    if kind in OF_USE_ANYWHERE:
        return ""
    if kind in METERS:
        if _signal_ends(certificate, point) is None:
            return (
                f"Its certificate is in {certificate.unit}; the output is in {point.output.unit}."
            )
        return short_of_signal(standard, certificate, point)
    if kind == ReferenceStandard.Kind.RESISTOR:
        return ""
    if kind not in APPLIES[way]:
        return f"{kind.capitalize()}: not used for {way}."
    if kind in LENGTHS and point.quantity == "level":
        return _short_of_level(certificate, point)
    return ""


def short_of_signal(
    standard: ReferenceStandard, certificate: StandardCertificate, point: MeasuringPoint
) -> str:
    """Why a meter is certified for too little to read the point's whole output; "" where it is not,
    or no meter.
    """
    ends = _signal_ends(certificate, point) if standard.kind in METERS else None
    return _outside(certificate, *ends) if ends else ""


def _signal_ends(
    certificate: StandardCertificate, point: MeasuringPoint
) -> tuple[float, float] | None:
    """The ends of the output in the certificate's unit; None where that is not one of the
    output.
    """
    signal = point.output
    factor = signal_per_unit(signal, certificate.unit)
    return None if factor is None else (signal.low / factor, signal.high / factor)


def _short_of_level(certificate: StandardCertificate, point: MeasuringPoint) -> str:
    if certificate.unit not in IN_MM:
        return ""
    metres = LENGTH_UNITS[point.unit]
    ends = [abs(float(end)) * float(metres) * 1000 for end in (point.lower, point.upper)]
    reach = max(ends) / IN_MM[certificate.unit]
    return _outside(certificate, reach, reach)


def _outside(certificate: StandardCertificate, low: float, high: float) -> str:
    if certificate.range_low is None or certificate.range_high is None:
        return ""
    if float(certificate.range_low) <= low and high <= float(certificate.range_high):
        return ""
    held = f"{certificate.range_low.normalize():f} to {certificate.range_high.normalize():f}"
    return f"Out of range: certified for {held} {certificate.unit}, needed up to {high:.6g}."


class _Ratio:
    """The ratio of a reading at mid-range with one standard, and the usual figures for whatever
    else the way takes.

    What the standard has no part in is worked out once a job: a site has many standards.
    """

    def __init__(self, point: MeasuringPoint, transmitter: Transmitter, way: str) -> None:
        self._point, self._transmitter, self._way = point, transmitter, way
        middle = (point.lower + point.upper) / 2
        ends = {"lower": float(point.lower), "upper": float(point.upper)}
        expected = float(signal_at(float(middle), **ends, signal=point.output))
        self._reading = ReadingEntry("as found", 1, middle, Decimal(str(round(expected, 3))))
        usual = self._setup([])
        self._usual = u_output(usual, self._reading), u_input(usual, self._reading)

    def of(self, standard: ReferenceStandard, certificate: StandardCertificate) -> float | None:
        """None for one on which no figure of the error rests."""
        if standard.kind in OF_USE_ANYWHERE:
            return None
        setup = self._setup([(standard, certificate)])
        of_output, of_input = self._usual
        if standard.kind in METERS or standard.kind == ReferenceStandard.Kind.RESISTOR:
            of_output = u_output(setup, self._reading)
        else:
            of_input = u_input(setup, self._reading)
        u = math.hypot(of_output, of_input)
        return round(float(uncertainty_ratio(self._point.limits.percent, 2 * u)), 2)

    def _setup(self, certified: Certified) -> Setup:
        return Setup(self._point, self._transmitter, self._way, certified)
