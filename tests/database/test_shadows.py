"""No session can put a temporary table of its own in the way of a rule."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, connection, transaction

from tests.makers import an_approved_record

pytestmark = pytest.mark.django_db(transaction=True)


def answers(sql: str) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return cursor.fetchall()


def test_every_function_of_ours_that_reads_tables_has_a_fixed_search_path():
    loose = answers(
        """
        SELECT p.oid::regprocedure::text FROM pg_proc p JOIN pg_language l ON l.oid = p.prolang
        WHERE p.pronamespace = 'public'::regnamespace
            AND (l.lanname = 'plpgsql' OR p.prosrc ~ '(plant|calibration)_')
            AND l.lanname IN ('plpgsql', 'sql')
            AND NOT EXISTS (SELECT FROM unnest(p.proconfig) c WHERE c LIKE 'search_path=%')
        """
    )
    assert loose == []


def add_a_reading(shadow: str, record_id: int) -> None:
    """With a temporary table of that name, holding what ours holds; all is taken back."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"CREATE TEMPORARY TABLE {shadow} (LIKE public.{shadow}) ON COMMIT DROP")
        cursor.execute(f"INSERT INTO pg_temp.{shadow} SELECT * FROM public.{shadow}")
        if shadow == "calibration_calibration":
            cursor.execute("UPDATE pg_temp.calibration_calibration SET state = 'submitted'")
            cursor.execute(
                "UPDATE pg_temp.calibration_calibration SET entered_in = pg_current_xact_id()::text::bigint"
            )
        cursor.execute(
            "INSERT INTO public.calibration_reading SELECT (jsonb_populate_record(r, "
            """'{"id": 999999, "sequence": 99}')).* FROM public.calibration_reading r """
            "WHERE record_id = %s LIMIT 1",
            [record_id],
        )
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        transaction.set_rollback(True)


@pytest.mark.parametrize(
    "shadow",
    ["calibration_calibration", "calibration_reading", "plant_measuringpoint", "plant_appointment"],
)
def test_a_temporary_table_of_the_same_name_lets_no_reading_into_an_approved_record(
    shadow, technician, approver
):
    record = an_approved_record(by=technician, approved_by=approver)
    with pytest.raises(DatabaseError):
        add_a_reading(shadow, record.pk)
