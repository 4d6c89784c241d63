"""Broken and malicious registers: each refusal names row and column, and nothing of the file is
stored.
"""

from __future__ import annotations

import random

import pytest

from plant.importing.models import ImportBatch
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.transmitters.models import Transmitter
from tests.files import HOSTILE, a_workbook, applied, reasons, send

pytestmark = pytest.mark.django_db


def sent(name: str, by, **more):
    return send((HOSTILE / name).read_bytes(), by=by, name=name, **more)


def nothing_stored() -> bool:
    return not (MeasuringPoint.objects.exists() or Transmitter.objects.exists())


def test_mixed_errors_are_all_told(tank, planner):
    outcome = reasons(sent("mixed-errors.csv", planner))
    assert [(row, column) for row, column, _ in outcome] == [
        (2, "LRV (m)"), (3, "URV (m)"), (4, "LRV (m)"), (5, "URV (m)"), (6, "tolerance"),
        (7, "interval (months)"), (8, "installed"), (9, "installed"), (10, "tag"), (11, "principle"),
        (12, "tank"), (13, "serial"), (14, "LRV (m)"), (15, "LRV (m)"),
    ]  # fmt: skip
    said = {row: reason for row, _, reason in outcome}
    assert "write 0.3 with a point" in said[2]
    assert "too large" in said[3]
    assert "no finite number" in said[4]
    assert "above zero" in said[6]
    assert "2026-05-12" in said[9]
    assert "formula" in said[10]
    assert "capacitance rod" in said[11]
    assert "formula's error" in said[12]
    assert "row 2" in said[13]
    assert nothing_stored()


def test_a_bad_header_is_told_whole(tank, planner):
    outcome = reasons(sent("bad-headers.csv", planner))
    assert {(row, column) for row, column, _ in outcome} == {
        (1, "LRV"), (1, "URV (yd)"), (1, "tolerance (%)"), (1, "colour"),
    }  # fmt: skip


def test_semicolons_and_a_mark_are_no_obstacle(tank, planner):
    applied((HOSTILE / "semicolons-and-mark.csv").read_bytes(), by=planner)
    assert MeasuringPoint.objects.get().note == "custody; ship’s figure"


def test_text_in_windows_1252_comes_in_with_a_note(site, planner):
    batch = sent("windows-1252.csv", planner, kind="products")
    assert (batch.state, batch.report["shown"][0]["name"]) == (
        "checked",
        "huile d’olive désodorisée",
    )
    assert "Windows-1252" in batch.report["notes"][0]


def test_formulas_in_notes_are_text_and_negative_numbers_numbers(tank, planner):
    tank.datum = 1
    tank.save()
    applied((HOSTILE / "formulas.csv").read_bytes(), by=planner)
    assert list(MeasuringPoint.objects.values_list("note", flat=True)) == [
        '=HYPERLINK("http://evil.example","x")', "+1", "=1+1",
    ]  # fmt: skip
    assert MeasuringPoint.objects.get(tag="LT-101B").lower < 0


def test_a_tag_typed_as_a_number_is_warned_of_by_row_and_column(tank, planner):
    book = a_workbook(
        [["tag", "tank", "LRV (m)", "URV (m)", "tolerance"], [101, "T-101", 0.3, 8.3, 1]]
    )
    batch = send(book, by=planner, name="points.xlsx")
    assert batch.state == "checked"
    row, column, value, reason = batch.report["warnings"][0]
    assert (row, column, value) == (2, "tag", "101")
    assert "leading zeros" in reason


@pytest.mark.parametrize(
    "name", ["empty.csv", "document.csv", "utf16.csv", "not-a-workbook.xlsx", "old.xls"]
)
def test_a_wrong_kind_of_file_is_not_kept(name, site, planner, uploads):
    with pytest.raises(Refused):
        sent(name, planner)
    assert not ImportBatch.objects.exists()
    assert list(uploads.iterdir()) == []


def test_a_file_without_rows_is_refused_with_its_own_problem(site, planner):
    batch = sent("only-header.csv", planner)
    assert reasons(batch) == [(0, "file", "The file holds a header but no rows below it.")]


@pytest.mark.parametrize("seed", range(60))
def test_whatever_comes_in_it_is_refused_or_checked_but_never_half_stored(seed, tank, planner):
    """A good file with bytes changed, cut or doubled at random."""
    rng = random.Random(seed)  # noqa: S311 - the same damage in every run
    good = (HOSTILE / "semicolons-and-mark.csv").read_bytes()
    data = bytearray(good if seed % 2 else a_workbook([["tag", "tank"], ["LT-101A", "T-101"]]))
    for _ in range(rng.randint(1, 6)):
        place = rng.randrange(len(data))
        data[place : place + rng.choice([0, 1, 4])] = rng.randbytes(rng.randint(0, 4))
    try:
        batch = send(bytes(data), by=planner)
    except Refused:
        batch = None
    assert batch is None or batch.state in ("refused", "checked")
    assert batch is None or batch.state == "checked" or batch.problems.exists()
    assert not any(
        "Spanbook failed" in reason for _, _, reason in (reasons(batch) if batch else ())
    )
    assert nothing_stored()
    assert not LedgerEntry.objects.filter(act="import").exists()
