"""Which reference standards serve a job, and how good the test would be with each (test uncertainty
ratio).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from calibration.jobs.models import Job
from calibration.metrology.decision import uncertainty_ratio
from calibration.metrology.uncertainty import combine, coverage
from calibration.procedures.models import ProcedureVersion
from calibration.records.certificate_units import MILLIMETRES, Kind, kind_of, signal_per_unit
from calibration.records.entry import ReadingEntry
from calibration.records.input_parts import input_parts
from calibration.records.output_parts import output_parts
from calibration.records.setup import METERS, Certified, Setup
from calibration.records.standard_uses import LENGTHS, best_of, is_check_tool, why_not_of_use
from calibration.records.uncertainty import PROBABILITY
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.level.signals import signal_at
from plant.level.units import LENGTH_UNITS
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Transmitter

# On which no reading itself rests, so that no ratio is given for them.
AIDS = frozenset({Kind.THERMOMETER, Kind.HYDROMETER})


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

        Check tools are named apart, for they follow the version and not its way.
        """
        kit = {}
        ratio = _Ratio(job.point, transmitter, version.way) if transmitter else None
        for standard, rows in self._of_site(job, at):
            row = best_of(standard, rows, job.point, version.way, None)
            why = unfit(standard, row, job.point, version.way)
            kit[str(standard.pk)] = {
                "fits": not why,
                "why": why,
                "tur": ratio.of(standard, row) if ratio and not why else None,
            }
        return kit

    def check_tools(self, job: Job, version: ProcedureVersion, *, at: dt.datetime) -> list[int]:
        """The standards of the job's site that only a step of the version asks for."""
        return [
            standard.pk
            for standard, rows in self._of_site(job, at)
            if any(is_check_tool(standard, row, version.way, version) for row in rows)
        ]

    def _of_site(
        self, job: Job, at: dt.datetime
    ) -> Iterator[tuple[ReferenceStandard, Sequence[StandardCertificate]]]:
        """With today's certificates, else the one that was valid longest: the tablet says by itself
        what has lapsed.
        """
        today = job.site.day_of(at)
        for standard, rows in self._certified.items():
            if standard.site_id == job.site_id:
                valid = [c for c in rows if c.issued_on <= today <= c.valid_until]
                yield standard, valid or rows[:1]


def unfit(
    standard: ReferenceStandard, certificate: StandardCertificate, point: MeasuringPoint, way: str
) -> str:
    """Why no error of a test of ``point`` by ``way`` can rest on this standard; "" where it can."""
    why = why_not_of_use(standard, certificate, point, way, None)
    if why:
        return why
    if kind_of(standard, certificate) in LENGTHS and point.quantity == "level":
        return _short_of_level(certificate, point)
    return short_of_signal(standard, certificate, point)


def short_of_signal(
    standard: ReferenceStandard, certificate: StandardCertificate, point: MeasuringPoint
) -> str:
    """Why a meter is certified for too little to read the point's whole output; "" where it is not,
    or no meter.
    """
    is_meter = kind_of(standard, certificate) in METERS
    ends = _signal_ends(certificate, point) if is_meter else None
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
    if certificate.unit not in MILLIMETRES:
        return ""
    metres = LENGTH_UNITS[point.unit]
    ends = [abs(float(end)) * float(metres) * 1000 for end in (point.lower, point.upper)]
    reach = max(ends) / MILLIMETRES[certificate.unit]
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
        self._applied = np.array([float(middle)])
        self._usual = output_parts(usual, [self._reading]), input_parts(usual, self._applied)

    def of(self, standard: ReferenceStandard, certificate: StandardCertificate) -> float | None:
        """None for one on which no figure of the error rests."""
        kind = kind_of(standard, certificate)
        if kind in AIDS:
            return None
        setup = self._setup([(standard, certificate)])
        of_output, of_input = self._usual
        if kind in METERS or kind == Kind.RESISTOR:
            of_output = output_parts(setup, [self._reading])
        else:
            of_input = input_parts(setup, self._applied)
        budget = combine((of_output + of_input).components)
        expanded = coverage(budget, probability=PROBABILITY).expanded
        return round(float(np.max(uncertainty_ratio(self._point.limits.percent, expanded))), 2)

    def _setup(self, certified: Certified) -> Setup:
        return Setup(self._point, self._transmitter, self._way, certified)
