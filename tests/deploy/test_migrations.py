"""The one migration of each app: it stands for all that went before, and takes nothing from live code."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from calibration.fleet import acts as fleet
from calibration.fleet.models import FleetRun
from calibration.records.models import Calibration
from tests.makers import a_record

ROOT = Path(__file__).resolve().parents[2]
APPS = ("plant", "calibration")


def tables() -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name, column_name, data_type FROM information_schema.columns "
            "WHERE table_schema = 'public' ORDER BY 1, 2"
        )
        return cursor.fetchall()


def history(app: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name FROM django_migrations WHERE app = %s ORDER BY id", [app])
        return [name for (name,) in cursor.fetchall()]


@pytest.fixture
def database_of_the_former_release(transactional_db):
    """A database whose history names the former migrations, one by one, as a plant's does."""
    loader = MigrationLoader(connection)
    former = [
        key for app in APPS for key in loader.disk_migrations[app, "0001_tables_and_rules"].replaces
    ]
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM django_migrations WHERE app IN ('plant', 'calibration') "
            "AND name = '0001_tables_and_rules'"
        )
        cursor.executemany(
            "INSERT INTO django_migrations (app, name, applied) VALUES (%s, %s, now())", former
        )
    yield former
    call_command("migrate", verbosity=0)


def test_a_database_of_the_former_release_goes_on_untouched(database_of_the_former_release):
    before = tables()
    executor = MigrationExecutor(connection)
    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []
    call_command("migrate", verbosity=0)
    assert tables() == before
    assert all("0001_tables_and_rules" in history(app) for app in APPS)


def test_records_of_before_get_their_shape(technician):
    """As if typed in today: the statement of the migration against what judging kept."""
    record = a_record(by=technician, found=[0.1, 0.3, 0.4, 0.2, 0.1, 0.2, 0.3, 0.2, 0.0])
    kept = Calibration.objects.get(pk=record.pk).shape
    assert max(kept) == pytest.approx(0.3, abs=0.1)
    script = (ROOT / "calibration/migrations/0004_shape.sql").read_text(encoding="utf-8")
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE calibration_calibration DISABLE TRIGGER USER")
        cursor.execute("UPDATE calibration_calibration SET shape = NULL")
        cursor.execute(script)
    assert Calibration.objects.get(pk=record.pk).shape == pytest.approx(kept, abs=1e-3)
    waiting = FleetRun.objects.get(finished_at=None)
    assert fleet.run(clock=timezone.now, nightly=False) == waiting


def test_the_migration_stands_for_all_that_went_before(database_of_the_former_release):
    assert len(database_of_the_former_release) == 15
    assert ("calibration", "0010_records_carry_their_drift_row") in database_of_the_former_release


@pytest.mark.parametrize("app", APPS)
def test_migrations_import_nothing_live(app):
    files = sorted((ROOT / app / "migrations").glob("0*.py"))
    names = [
        name
        for path in files
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in (
            [node.module] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
        )
    ]
    assert files
    assert [name for name in names if name.split(".")[0] in ("plant", "calibration")] == []
