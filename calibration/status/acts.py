"""Reasons closed by an approver's word; and the night's look at what days alone change."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import F, Q

from calibration.drift.models import Trend
from calibration.records.models import Calibration
from calibration.status.models import ReasonClosing
from calibration.status.refusals import NotAReason, NoWhy, OwnRecord
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.sites.models import Site


@transaction.atomic
def close_reason(
    point: MeasuringPoint, *, kind: str, of: int, why: str, by: Person, at: dt.datetime
) -> ReasonClosing:
    """Close one reason of the point's status by an approver's signed word.

    Refused where the point does not have it now, without a why, and for one's own record. The next
    record may bring the same reason again.
    """
    require(by, "approve", point.site_id)
    point = MeasuringPoint.objects.select_for_update().get(pk=point.pk)
    if kind not in ReasonClosing.Kind.values or not _stands(point, kind, of):
        raise NotAReason(tag=point.tag)
    if not why.strip():
        raise NoWhy()
    if Calibration.objects.filter(pk=of, performed_by=by).exists():
        raise OwnRecord(record=of)
    closing = ReasonClosing.objects.create(
        site_id=point.site_id,
        point=point,
        kind=kind,
        of=of,
        why=why.strip(),
        closed_by=by,
        closed_at=at,
    )
    details = {"tag": point.tag, "reason": closing.get_kind_display(), "record": of}
    enter("close reason", on=point, by=by, why=closing.why, details=details)
    return closing


def _stands(point: MeasuringPoint, kind: str, of: int) -> bool:
    return any(reason["kind"] == kind and reason["of"] == of for reason in point.reasons)


def look_again(*, at: dt.datetime) -> int:
    """Derive the status of the points whose day of doubt has come by their site's calendar; returns
    how many. The triggers do the rest.
    """
    looked = 0
    for site in Site.objects.all():
        day = site.day_of(at)
        due = Trend.objects.filter(site=site, doubt_on__lte=day)
        unseen = Q(known_on=None) | Q(known_on__lt=F("trend__doubt_on"))
        points = MeasuringPoint.objects.filter(unseen, site=site, pk__in=due.values("point"))
        ids = list(points.values_list("pk", flat=True))
        looked += MeasuringPoint.objects.filter(pk__in=ids).update(known_on=day)
    return looked
