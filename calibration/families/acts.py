"""What the nightly pass writes of families: their rows, and how many results each has."""

from __future__ import annotations

from django.db import connection

from calibration.families.keys import INSTALLED, KEY, LIQUID_MATTERS, key_sql
from calibration.families.reads import CONDUCTS, FOUND_IN, RECORDS, STANDING

COUNT = f"""
    UPDATE calibration_family f
    SET results = coalesce(c.results, 0), found_in = coalesce(c.found_in, 0)
    FROM calibration_family g LEFT JOIN (
        SELECT {key_sql(CONDUCTS)} AS key, count(*) AS results,
            count(*) FILTER (WHERE {FOUND_IN}) AS found_in
        {RECORDS} {STANDING} AND r.found_largest IS NOT NULL GROUP BY 1
    ) c ON c.key = g.key
    WHERE g.id = f.id
"""  # noqa: S608 - parts written above


def count_results() -> None:
    """Keep, for each family, how many as founds its standing records hold over all sites, and how
    many were in.
    """
    with connection.cursor() as cursor:
        cursor.execute(COUNT)


ARRAYS = ("zero_weights", "span_weights", "shape_mean", "shape_between", "shape_within")
ENSURE = f"""
    INSERT INTO calibration_family (key, principle, conducts, members, {", ".join(ARRAYS)})
    SELECT DISTINCT {KEY}, t.principle,
        CASE WHEN {LIQUID_MATTERS} THEN q.conducts END, 0, {", ".join(5 * ["'{}'::float8[]"])}
    {INSTALLED}
    ON CONFLICT (key) DO NOTHING
"""


def ensure_families() -> int:
    """A row for each family that has a transmitter in service; returns how many are new."""
    with connection.cursor() as cursor:
        cursor.execute(ENSURE)
        return cursor.rowcount
