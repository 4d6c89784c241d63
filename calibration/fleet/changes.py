"""What changed since the last pass over the fleet: the points to compute again, family by family.

A changed point stirs its family, and the family all its members.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db import connection

from calibration.families.acts import ensure_families
from calibration.families.keys import INSTALLED, KEY

CHUNK = 20_000
# By the times that the database itself notes: of rows that came in, and of former versions kept.
CHANGED = """
    WITH changed AS (
        SELECT table_name, row_id FROM plant_rowhistory WHERE at >= %(since)s
            AND table_name IN ('calibration_calibration', 'plant_installation',
                'plant_measuringpoint', 'calibration_stepquestion', 'plant_productchange',
                'calibration_policy', 'plant_tank')
    )
    SELECT point_id FROM calibration_calibration r
        WHERE (entered_at >= %(since)s AND state = 'approved')
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_calibration')
    UNION SELECT point_id FROM plant_installation WHERE entered_at >= %(since)s
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'plant_installation')
    UNION SELECT id FROM plant_measuringpoint WHERE entered_at >= %(since)s
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'plant_measuringpoint')
    UNION SELECT point_id FROM calibration_stepquestion
        WHERE id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_stepquestion')
    UNION SELECT p.id FROM plant_measuringpoint p WHERE p.tank_id IN (
        SELECT tank_id FROM plant_productchange WHERE entered_at >= %(since)s
        UNION SELECT row_id FROM changed WHERE table_name = 'plant_tank')
    UNION SELECT p.id FROM plant_measuringpoint p JOIN calibration_policy y
        ON y.point_id = p.id OR (y.site_id = p.site_id AND y.duty = p.duty)
        WHERE y.entered_at >= %(since)s
        OR y.id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_policy')
    UNION SELECT (before->>'point_id')::bigint FROM plant_rowhistory
        WHERE at >= %(since)s AND table_name = 'calibration_policy' AND act = 'delete'
        AND before->>'point_id' <> ''
"""
MEMBERS = f"""
    SELECT f.id, array_agg(p.id) {INSTALLED} JOIN calibration_family f ON f.key = {KEY}
    WHERE EXISTS (
        SELECT 1 FROM calibration_calibration r
        WHERE r.point_id = p.id AND r.state = 'approved')
    GROUP BY 1 %s ORDER BY 1
"""  # noqa: S608 - parts written above


def chunks(since: dt.datetime | None) -> Iterator[list[int]]:
    """Points of whole families, some families together; a family is never split."""
    ensure_families()
    with connection.cursor() as cursor:
        if since is None:
            cursor.execute(MEMBERS % "")
        else:
            stirred = f"HAVING bool_or(p.id IN ({CHANGED}))"
            cursor.execute(MEMBERS % stirred, {"since": since})
        families = cursor.fetchall()
    chunk: list[int] = []
    for _, ids in families:
        if chunk and len(chunk) + len(ids) > CHUNK:
            yield sorted(chunk)
            chunk = []
        chunk += ids
    if chunk:
        yield sorted(chunk)
