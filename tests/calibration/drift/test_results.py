"""Packed rows: what the database packs is what Python describes."""

import pytest
from django.db import connection

from calibration.arrays import row_sql
from calibration.drift.rows import RECORD

EXPRESSION = """
    SELECT pg_get_expr(d.adbin, d.adrelid) FROM pg_attrdef d
    JOIN pg_attribute a ON a.attrelid = d.adrelid AND a.attnum = d.adnum
    WHERE a.attrelid = %s::regclass AND a.attname = 'drift_row'
"""


@pytest.mark.django_db
def test_the_database_packs_a_record_as_the_description_says():
    with connection.cursor() as cursor:
        cursor.execute(EXPRESSION, ["calibration_calibration"])
        [stored] = cursor.fetchone()
        cursor.execute("CREATE TEMPORARY TABLE described (LIKE calibration_calibration)")
        cursor.execute("ALTER TABLE described DROP COLUMN drift_row")
        cursor.execute(
            "ALTER TABLE described ADD COLUMN drift_row bytea "
            f"GENERATED ALWAYS AS ({row_sql(RECORD)}) STORED"
        )
        cursor.execute(EXPRESSION, ["described"])
        assert cursor.fetchone() == (stored,)
