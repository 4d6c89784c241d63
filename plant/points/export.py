"""The register as a file, in the very columns its import reads: what goes out comes in again and
changes nothing.
"""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from collections.abc import Iterator
from decimal import Decimal
from typing import IO, Any

import xlsxwriter

from plant.cells import Cell, csv_cell
from plant.points.models import MeasuringPoint

BEFORE = ("tag", "tank", "indicates")
AFTER = (
    "signal",
    "tolerance",
    "tolerance unit",
    "adjust limit",
    "duty",
    "procedure",
    "interval (months)",
    "grace (days)",
    "job hours",
    "last calibrated",
    "due",
    "serial",
    "maker",
    "model",
    "principle",
    "wiring",
    "probe length (mm)",
    "probe diameter (mm)",
    "insulation (mm)",
    "insulation permittivity",
    "installed",
    "note",
)
DEVICE = (
    "serial",
    "maker",
    "model",
    "principle",
    "wiring",
    "probe_length_mm",
    "probe_diameter_mm",
    "insulation_mm",
    "insulation_permittivity",
)
POINT = (
    "tag",
    "tank__name",
    "quantity",
    "unit",
    "lower",
    "upper",
    "signal",
    "tolerance",
    "tolerance_unit",
    "adjust_limit",
    "duty",
    "procedure_key",
    "interval_months",
    "grace_days",
    "job_hours",
    "anchor_on",
    "anchor_months",
    "due_on",
    "note",
)
CHUNK = 2000


def units_in(points: Any) -> list[str]:
    """The units of the ranges, in which the file then has its pairs of LRV and URV columns."""
    known = [unit.value for unit in MeasuringPoint.Unit]
    found = set(points.order_by().values_list("unit", flat=True).distinct())
    return [unit for unit in known if unit in found] or ["m"]


def header(units: list[str]) -> list[str]:
    pairs = [f"{end} ({unit})" for unit in units for end in ("LRV", "URV")]
    return [*BEFORE, *pairs, *AFTER]


def rows(points: Any, units: list[str]) -> Iterator[list[Cell]]:
    """A line for each point of ``points`` (annotated with ``present``), a chunk in memory at a
    time.
    """
    device = [f"present__transmitter__{name}" for name in DEVICE]
    names = [*POINT, *device, "present__installed_on"]
    for values in points.values_list(*names).iterator(chunk_size=CHUNK):
        yield _line(dict(zip([*POINT, *DEVICE, "installed_on"], values, strict=True)), units)


def _line(p: dict[str, Any], units: list[str]) -> list[Cell]:
    ends = [p[end] if p["unit"] == unit else None for unit in units for end in ("lower", "upper")]
    return [
        p["tag"],
        p["tank__name"],
        p["quantity"],
        *ends,
        p["signal"],
        p["tolerance"],
        p["tolerance_unit"],
        p["adjust_limit"],
        p["duty"],
        p["procedure_key"] or None,
        p["interval_months"],
        p["grace_days"],
        p["job_hours"],
        _last_calibrated(p),
        p["due_on"],
        *(p[name] if p[name] != "" else None for name in DEVICE),
        p["installed_on"],
        p["note"] or None,
    ]


def _last_calibrated(p: dict[str, Any]) -> dt.date | None:
    """Known here while one interval has passed since the cycle's anchor; within grace the day is
    another.
    """
    return p["anchor_on"] if p["anchor_months"] == p["interval_months"] else None


class _Line:
    """What csv.writer writes to: hands each line on instead of keeping it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(points: Any) -> Iterator[str]:
    units, writer = units_in(points), csv.writer(_Line())
    # The mark by which spreadsheets know the file for UTF-8.
    yield "\ufeff" + writer.writerow(header(units))
    for line in rows(points, units):
        yield writer.writerow([csv_cell(cell) for cell in line])


def xlsx_chunks(points: Any) -> Iterator[bytes]:
    """A workbook, made row by row in a temporary file when it is first asked for; text stays text,
    without a shield.
    """
    with tempfile.TemporaryFile() as file:
        _write_book(file, points)
        file.seek(0)
        yield from iter(lambda: file.read(65_536), b"")


def _write_book(file: IO[bytes], points: Any) -> None:
    units = units_in(points)
    book = xlsxwriter.Workbook(file, {"constant_memory": True, "in_memory": False})
    day, bold = book.add_format({"num_format": "yyyy-mm-dd"}), book.add_format({"bold": True})
    sheet = book.add_worksheet("register")
    sheet.freeze_panes(1, 1)
    for column, name in enumerate(header(units)):
        sheet.write_string(0, column, name, bold)
    for number, line in enumerate(rows(points, units), 1):
        for column, cell in enumerate(line):
            _write(sheet, number, column, cell, day)
    book.close()


def _write(sheet: Any, row: int, column: int, cell: Cell, day: Any) -> None:
    if isinstance(cell, dt.date):
        sheet.write_datetime(row, column, dt.datetime.combine(cell, dt.time()), day)
    elif isinstance(cell, int | Decimal):
        sheet.write_number(row, column, float(cell))
    elif cell:
        sheet.write_string(row, column, cell)
