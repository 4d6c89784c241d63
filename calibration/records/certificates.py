"""The certificates that stand behind a record on its day. Reads only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db.models import FilteredRelation, Q

from calibration.records.kit import short_of_signal
from calibration.records.refusals import (
    NoStandard,
    NoValidCertificate,
    StandardOfAnotherSite,
    StandardOutOfRange,
)
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.points.models import MeasuringPoint

Pair = tuple[ReferenceStandard, StandardCertificate]


def certificates_on(
    day: dt.date, standards: Sequence[ReferenceStandard], site_id: int
) -> list[Pair]:
    """Each standard with the certificate that covers the day (of several the one that is valid
    longest). Refused by name where there is none.
    """
    if not standards:
        raise NoStandard
    covers = Q(certificates__issued_on__lte=day, certificates__valid_until__gte=day) & (
        Q(certificates__withdrawn_on=None) | Q(certificates__withdrawn_on__gt=day)
    )
    named: Any = ReferenceStandard.objects.filter(pk__in=[s.pk for s in standards])
    rows = named.annotate(covering=FilteredRelation("certificates", condition=covers))
    by_key: dict[int, ReferenceStandard] = {
        row.pk: row for row in rows.select_related("covering").order_by("covering__valid_until")
    }
    return [_certified(by_key.get(s.pk), site_id, day) for s in standards]


def _certified(standard: ReferenceStandard | None, site_id: int, day: dt.date) -> Pair:
    if standard is None or standard.site_id != site_id:
        raise StandardOfAnotherSite(standard)
    certificate: StandardCertificate | None = getattr(standard, "covering", None)
    is_withdrawn = standard.withdrawn_on and standard.withdrawn_on <= day
    if is_withdrawn or certificate is None:
        raise NoValidCertificate(standard, day)
    return standard, certificate


def check_ranges(pairs: Sequence[Pair], point: MeasuringPoint) -> None:
    """Refuse a meter that is not certified for the whole of the point's output."""
    for standard, certificate in pairs:
        why = short_of_signal(standard, certificate, point)
        if why:
            raise StandardOutOfRange(standard, why)
