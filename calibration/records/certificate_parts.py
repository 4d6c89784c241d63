"""What a certificate states, as components of the uncertainty in the certificate's unit."""

from __future__ import annotations

import numpy as np

from calibration.metrology import components as known
from calibration.metrology.uncertainty import Component
from calibration.standards.models import StandardCertificate

IN_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0}


def stated_components(
    name: str, certificate: StandardCertificate, reading: np.ndarray
) -> tuple[Component, ...]:
    """What a certificate says, in its unit: limits of accuracy, and the laboratory's U with its
    k.
    """
    parts: list[Component] = []
    limits = {
        key: float(getattr(certificate, key) or 0)
        for key in ("percent_of_reading", "percent_of_range", "absolute")
    }
    if any(limits.values()):
        width = 0.0
        if certificate.range_low is not None and certificate.range_high is not None:
            width = float(certificate.range_high - certificate.range_low)
        if limits["percent_of_reading"] or limits["absolute"] or width:
            parts.append(
                known.specification(f"{name} specification", reading, range_value=width, **limits)
            )
    if certificate.expanded_uncertainty is not None and certificate.coverage_factor is not None:
        parts.append(
            known.certificate(
                f"{name} certificate",
                float(certificate.expanded_uncertainty),
                float(certificate.coverage_factor),
            )
        )
    return tuple(parts)
