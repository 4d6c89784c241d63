"""Of which transmitter a record is, where it was changed on the very day or soon after."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db.models import Q, QuerySet

from calibration.records.refusals import NothingInstalled, NotThere
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation, Transmitter

# So long after its removal a record of a transmitter can still be typed in (no source).
TYPED_WITHIN = dt.timedelta(days=30)


def device_of(
    point: MeasuringPoint,
    day: dt.date,
    *,
    wanted: Transmitter | None = None,
    usual: Transmitter | None = None,
) -> Transmitter:
    """``wanted``, which must have been there on that day or removed on it; else ``usual`` where it
    was; else the one that was there at the end of the day, or that was removed on it with nothing
    in its place (one query).
    """
    rows = _there(day).filter(point=point).order_by("installed_on")
    devices = [row.transmitter for row in rows]
    if wanted is not None and wanted not in devices:
        raise NotThere(point.tag, wanted, day)
    if not devices:
        raise NothingInstalled(point.tag, day)
    chosen = (one for one in (wanted, usual) if one is not None and one in devices)
    return next(chosen, devices[-1])


def was_there(point_id: int, transmitter_id: int | None, day: dt.date) -> Transmitter | None:
    """That transmitter, where it was at the point on that day or was removed on it."""
    row = _there(day).filter(point=point_id, transmitter=transmitter_id).first()
    return row.transmitter if row else None


def _there(day: dt.date) -> QuerySet[Installation]:
    until = Q(removed_on=None) | Q(removed_on__gte=day)
    return Installation.objects.filter(until, installed_on__lte=day).select_related("transmitter")


def recent_devices(point: MeasuringPoint, today: dt.date) -> Sequence[Installation]:
    """What is at the point, and what was removed lately; the last one first."""
    lately = Q(removed_on=None) | Q(removed_on__gte=today - TYPED_WITHIN)
    rows = Installation.objects.filter(lately, point=point).select_related("transmitter")
    return list(rows.order_by("-installed_on"))
