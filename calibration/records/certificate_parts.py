"""What a certificate states, as components of the uncertainty and as a correction."""

from __future__ import annotations

from typing import Any

import numpy as np

from calibration.metrology import components as known
from calibration.metrology.uncertainty import Component, scaled
from calibration.records.certificate_units import PERCENT, Units
from calibration.records.uncertainty import Correction, Parts
from calibration.standards.models import ReferenceStandard, StandardCertificate


def stated_parts(
    name: str,
    standard: ReferenceStandard,
    certificate: StandardCertificate,
    reading: np.ndarray,
    units: Units,
    *,
    whole: float | None = None,
) -> Parts:
    """What a certificate says, in the unit that ``units`` turn its own into: limits of accuracy,
    the laboratory's U with its k, and the deviation to be corrected for.

    reading: what the standard showed, in that unit, a place for each reading. whole: its range
    where the certificate names none, as of a resistor.
    """
    shown, factor = _in_its_unit(certificate, reading, units)
    alone = 0.0 if whole is None else whole / units.get(certificate.unit, whole / 100)
    limits = _limits(name, certificate, shown, alone)
    components = scaled((*limits, *_laboratory(name, certificate)), factor)
    return Parts(
        components,
        stems={c.name: standard.name for c in components},
        corrections=_corrections(standard, certificate, factor),
    )


def resolution_of(
    certificate: StandardCertificate, reading: np.ndarray, units: Units, *, otherwise: float
) -> Any:
    """Its last digit, in the unit that ``units`` turn the certificate's into."""
    if not certificate.resolution:
        return otherwise
    return float(certificate.resolution) * _in_its_unit(certificate, reading, units)[1]


def uncorrected(name: str, parts: Parts) -> Parts:
    """With each deviation as limits on either side, where no figure is computed from what the
    standard showed.
    """
    limits = tuple(
        known.rectangle(f"{name} deviation", np.abs(one.shift), shared=True)
        for one in parts.corrections
    )
    stems = dict(
        zip((c.name for c in limits), (c.standard for c in parts.corrections), strict=True)
    )
    return Parts(parts.components + limits, stems={**parts.stems, **stems})


def _in_its_unit(
    certificate: StandardCertificate, reading: np.ndarray, units: Units
) -> tuple[np.ndarray, Any]:
    """What it showed in the certificate's unit, and what one of that is worth at each reading."""
    if certificate.unit == PERCENT:
        return np.full(reading.shape, 100.0), np.abs(reading) / 100
    factor = units[certificate.unit]
    return reading / factor, factor


def _limits(
    name: str, certificate: StandardCertificate, shown: np.ndarray, whole: float
) -> tuple[Component, ...]:
    limits = {
        key: float(getattr(certificate, key) or 0)
        for key in ("percent_of_reading", "percent_of_range", "absolute")
    }
    if not any(limits.values()):
        return ()
    if certificate.range_low is not None and certificate.range_high is not None:
        whole = float(certificate.range_high - certificate.range_low)
    return (known.specification(f"{name} specification", shown, range_value=whole, **limits),)


def _laboratory(name: str, certificate: StandardCertificate) -> tuple[Component, ...]:
    if certificate.expanded_uncertainty is None or certificate.coverage_factor is None:
        return ()
    expanded, k = float(certificate.expanded_uncertainty), float(certificate.coverage_factor)
    return (known.certificate(f"{name} certificate", expanded, k),)


def _corrections(
    standard: ReferenceStandard, certificate: StandardCertificate, factor: Any
) -> tuple[Correction, ...]:
    if not certificate.deviation:
        return ()
    deviation = float(certificate.deviation)
    shift = np.atleast_1d(np.asarray(deviation * factor, dtype=float))
    return (Correction(standard.name, deviation, certificate.unit, shift),)
