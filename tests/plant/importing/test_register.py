"""The register's file: what it brings in, what it refuses, and that sending it twice changes nothing."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.operations.imports import run_now
from plant.models import (
    DueCount,
    ImportBatch,
    Installation,
    LedgerEntry,
    MeasuringPoint,
    RowHistory,
)
from plant.operations import imports
from tests.makers import NOON, TODAY, a_tank

pytestmark = pytest.mark.django_db

HEADER = "tag,tank,LRV (m),URV (m),tolerance"
FULL = (
    "tag,tank,indicates,LRV (m),URV (m),signal,tolerance,tolerance unit,interval (months),last calibrated,serial,"
    "maker,principle,installed\n"
    "LT-101A,T-101,level,0.3,11.4,4-20mA,4,mm,3,2026-09-14,TW80113,Tarn & Weir,radar,2020-03-02\n"
    "LT-101B,T-101,level,11.4,0.3,4-20mA,1,%,12,,TW10001,Tarn & Weir,hydrostatic,2020-03-02\n"
)


@pytest.fixture(autouse=True)
def _uploads(tmp_path, settings):
    settings.DATA = tmp_path


@pytest.fixture
def tank(site):
    return a_tank()


def send(text: str | bytes, by, *, kind="register", name="points.csv") -> ImportBatch:
    data = text.encode() if isinstance(text, str) else text
    site_id = by.site_ids("import")[0]
    from plant.models import Site

    batch = imports.receive(
        [data], file_name=name, kind=kind, site=Site.objects.get(pk=site_id), by=by, at=NOON
    )
    return run_now(batch, at=NOON)


def applied(text: str, by, why="moved by the planner") -> ImportBatch:
    batch = send(text, by)
    assert list(map(str, batch.problems.all())) == []
    imports.ask_to_apply(batch, why=why, by=by)
    return run_now(batch, at=NOON)


def reasons(batch: ImportBatch) -> list[tuple[int, str, str]]:
    return [(p.row, p.column, p.reason) for p in batch.problems.all()]


def test_a_file_brings_in_points_transmitters_and_installations(tank, planner):
    batch = applied(FULL, planner)
    assert (batch.state, batch.rows_new, batch.rows_changed, batch.rows_same) == ("applied", 2, 0, 0)
    first = MeasuringPoint.objects.get(tag="LT-101A")
    assert (first.tolerance, first.tolerance_unit, first.adjust_limit) == (4, "mm", 2)
    assert (first.due_on, first.anchor_on, first.anchor_months) == (
        dt.date(2026, 12, 14), dt.date(2026, 9, 14), 3,
    )  # fmt: skip
    second = MeasuringPoint.objects.get(tag="LT-101B")
    assert second.is_reverse
    assert (second.due_on, second.anchor_on) == (TODAY, None)
    hanging = Installation.objects.get(point=first)
    assert (hanging.transmitter.serial, hanging.installed_on) == ("TW80113", dt.date(2020, 3, 2))
    assert hanging.transmitter.status == "in service"
    assert sum(DueCount.objects.values_list("points", flat=True)) == 2


def test_an_import_is_one_ledger_entry_with_counts_and_the_files_hash(tank, planner):
    batch = applied(FULL, planner)
    entry = LedgerEntry.objects.get(act="import")
    assert entry.person == planner
    assert entry.details["sha256"] == batch.sha256
    assert (entry.details["new"], entry.details["rows"]) == (2, 2)


def test_the_same_file_again_writes_no_row(tank, planner):
    applied(FULL, planner)
    before = list(MeasuringPoint.objects.order_by("pk").values())
    batch = applied(FULL, planner, why="")
    assert (batch.rows_new, batch.rows_changed, batch.rows_same) == (0, 0, 2)
    assert list(MeasuringPoint.objects.order_by("pk").values()) == before
    assert not RowHistory.objects.exclude(table_name="plant_importbatch").exists()
