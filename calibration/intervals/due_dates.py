"""Due dates. Each follows from the days calibrated and the interval of the point alone, so that it
can be computed again at any time.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django.db import connection

from calibration.metrology.due import Schedule, next_due
from calibration.records.models import Calibration
from calibration.status.reads import Part, complete_days, unpacked
from calibration.status.results import CompleteResult
from plant.points.models import MeasuringPoint


def schedule_after(
    done_days: Iterable[dt.date], *, interval_months: int, grace_days: int
) -> Schedule | None:
    """The schedule that a history of calibration days leads to; None without any."""
    schedule = None
    for day in sorted(set(done_days)):  # two results of one day are one visit
        schedule = next_due(
            day, interval_months=interval_months, grace_days=grace_days, previous=schedule
        )
    return schedule


def schedule_with(
    record: Calibration, earlier: Iterable[Mapping[str, Any]], *, present: Collection[int]
) -> Schedule | None:
    """The schedule that approving ``record`` would lead to; None where it moves nothing: output and
    primary element would not be complete, or its transmitter is not there.

    earlier: the parts approved before it, packed. present: the keys of the transmitters there now.
    """
    if record.transmitter_id not in present:
        return None
    parts, within = unpacked(earlier)
    if not record.is_check and record.left_verdict != "fail":
        parts.append(Part(record.done_on, record.covers_output, record.covers_primary))
    point = record.point
    return schedule_after(
        complete_days(parts, within_days=within),
        interval_months=point.interval_months,
        grace_days=point.grace_days,
    )


def reschedule(point_ids: Iterable[int]) -> int:
    """Recompute the stored due dates of these points from their complete results; returns how many
    moved. A check moves nothing, nor does a part alone, or what another transmitter showed.

    A calibration on or after the due date that a deferral put off ends the deferral. Called inside
    the operation that changed what they depend on (approval, import, interval), which writes the
    ledger entry.
    """
    ids = list(point_ids)
    days: dict[int, list[dt.date]] = defaultdict(list)
    rows = CompleteResult.objects.filter(point_id__in=ids)
    for point_id, day in rows.values_list("point_id", "counts_from"):
        days[point_id].append(day)
    moves = []
    points = MeasuringPoint.objects.filter(pk__in=list(days))
    for pk, months, grace in points.values_list("pk", "interval_months", "grace_days"):
        schedule = schedule_after(days[pk], interval_months=months, grace_days=grace)
        if schedule:
            moves.append((pk, schedule.due_on, schedule.anchor_on, schedule.anchor_months))
    return _store(moves)


def _store(moves: list[tuple[int, dt.date, dt.date, int]]) -> int:
    if not moves:
        return 0
    pks, due, anchors, months = (list(column) for column in zip(*moves, strict=True))
    with connection.cursor() as cursor:
        cursor.execute(
            """
            UPDATE plant_measuringpoint p SET due_on = m.due_on, anchor_on = m.anchor_on,
                anchor_months = m.anchor_months,
                deferred_until = CASE WHEN m.due_on = p.due_on AND p.deferred_until > m.due_on
                                      THEN p.deferred_until END
            FROM unnest(%s::bigint[], %s::date[], %s::date[], %s::int[])
                AS m (id, due_on, anchor_on, anchor_months)
            WHERE p.id = m.id AND (p.due_on, p.anchor_on, p.anchor_months)
                IS DISTINCT FROM (m.due_on, m.anchor_on, m.anchor_months)
            """,
            [pks, due, anchors, months],
        )
        return cursor.rowcount
