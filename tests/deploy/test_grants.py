"""The role that serves pages cannot alter what has been entered, whatever SQL reaches it."""

from __future__ import annotations

import psycopg
import pytest
from django.db import connection
from psycopg import errors

from deploy.grants import grant, tables_only_added_to
from deploy.postgres import APP
from tests.makers import a_site

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def app():
    """A connection of the app's role to the test database."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = %s)", [APP])
        if cursor.fetchone() != (True,):
            pytest.skip(f"the database given by DATABASE_URL has no role {APP}")
    grant(APP)
    at = connection.settings_dict
    with psycopg.connect(
        host=at["HOST"], port=at["PORT"] or None, dbname=at["NAME"], user=APP, autocommit=True
    ) as link:
        yield link


def test_the_ledger_and_the_row_history_are_among_the_guarded_tables():
    assert {"plant_ledgerentry", "plant_rowhistory"} <= set(tables_only_added_to())


@pytest.mark.parametrize(
    "attempt",
    [
        "UPDATE plant_ledgerentry SET why = 'another reason'",
        "DELETE FROM plant_ledgerentry",
        "TRUNCATE plant_ledgerentry",
        "ALTER TABLE plant_ledgerentry DISABLE TRIGGER ALL",
        "DROP TRIGGER plant_ledgerentry_only_added ON plant_ledgerentry",
        "INSERT INTO plant_rowhistory (table_name, row_id, act, before, db_role) VALUES ('x', 1, "
        "'update', '{}', 'x')",
        "UPDATE plant_rowhistory SET db_role = 'x'",
        "DELETE FROM django_migrations",
        "SET session_replication_role = replica",
        "CREATE TABLE elsewhere ()",
    ],
)
def test_the_app_role_is_refused(app, attempt):
    with pytest.raises(errors.InsufficientPrivilege):
        app.execute(attempt)


def test_what_the_app_role_changes_is_kept_by_triggers_it_cannot_write_around(app):
    site = a_site()
    app.execute("UPDATE plant_site SET name = 'Marram Quay' WHERE id = %s", [site.pk])
    rows = app.execute(
        "SELECT db_role, before ->> 'name' FROM plant_rowhistory WHERE table_name = 'plant_site'"
    )
    assert rows.fetchall() == [(APP, site.name)]


def test_granting_again_changes_nothing(app):
    def rights() -> list[tuple]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT relname, relacl::text FROM pg_class ORDER BY relname")
            return cursor.fetchall()

    before = rights()
    grant(APP)
    assert rights() == before
