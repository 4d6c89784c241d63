"""The certificates that stand behind a record on its day. Reads only."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from django.db.models import FilteredRelation, Q

from calibration.procedures.models import ProcedureVersion
from calibration.records.kit import short_of_signal
from calibration.records.refusals import (
    NoStandard,
    NoValidCertificate,
    StandardOfAnotherSite,
    StandardOutOfRange,
)
from calibration.records.standard_uses import best_of
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.points.models import MeasuringPoint

Pair = tuple[ReferenceStandard, StandardCertificate]


def certificates_on(
    day: dt.date,
    standards: Sequence[ReferenceStandard],
    point: MeasuringPoint,
    way: str,
    version: ProcedureVersion | None,
) -> list[Pair]:
    """Each standard with the certificate that covers the day; of several one that is of use in a
    test of ``point`` by ``way``, and of these the one that is valid longest. Refused by name where
    there is none.
    """
    if not standards:
        raise NoStandard
    covers = Q(certificates__issued_on__lte=day, certificates__valid_until__gte=day) & (
        Q(certificates__withdrawn_on=None) | Q(certificates__withdrawn_on__gt=day)
    )
    named: Any = ReferenceStandard.objects.filter(pk__in=[s.pk for s in standards])
    rows = named.annotate(covering=FilteredRelation("certificates", condition=covers))
    found: dict[int, list[ReferenceStandard]] = defaultdict(list)
    for row in rows.select_related("covering").order_by("-covering__valid_until"):
        found[row.pk].append(row)
    pairs = [_certified(found[s.pk], point.site_id, day) for s in standards]
    return [(s, best_of(s, covering, point, way, version)) for s, covering in pairs]


def _certified(
    rows: Sequence[ReferenceStandard], site_id: int, day: dt.date
) -> tuple[ReferenceStandard, list[StandardCertificate]]:
    """``rows``: the standard, once for each certificate that covers the day."""
    if not rows or rows[0].site_id != site_id:
        raise StandardOfAnotherSite(rows[0] if rows else None)
    standard = rows[0]
    known: list[StandardCertificate | None] = [getattr(row, "covering", None) for row in rows]
    certificates = [one for one in known if one is not None]
    is_withdrawn = standard.withdrawn_on and standard.withdrawn_on <= day
    if is_withdrawn or not certificates:
        raise NoValidCertificate(standard, day)
    return standard, certificates


def check_ranges(pairs: Sequence[Pair], point: MeasuringPoint) -> None:
    """Refuse a meter that is not certified for the whole of the point's output."""
    for standard, certificate in pairs:
        why = short_of_signal(standard, certificate, point)
        if why:
            raise StandardOutOfRange(standard, why)
