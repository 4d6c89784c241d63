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
from plant.columns import Column
from plant.importing.register_columns import LAST_CALIBRATED, ONLY_SHOWN, REGISTER
from plant.points.models import MeasuringPoint
from plant.points.status import status_on
from plant.transmitters.columns import TRANSMITTER

SOURCES = {
    "tank": "tank__name",
    "due": "due_on",
    "installed_on": "present__installed_on",
} | {column.field: f"present__transmitter__{column.field}" for column in TRANSMITTER.columns()}
"""Where a column's value comes from, other than from the point's own field."""
SCHEDULE = ("unit", "anchor_on", "anchor_months")
STANDING = ("condition", "next_due", "deferred_until", "out_of_service_on", "reasons")
CHUNK = 2000


def units_in(points: Any) -> list[str]:
    """The units of the ranges, in which the file then has its pairs of LRV and URV columns."""
    known = [unit.value for unit in MeasuringPoint.Unit]
    used = set(points.order_by().values_list("unit", flat=True).distinct())
    return [unit for unit in known if unit in used] or ["m"]


def file_columns(units: list[str]) -> list[tuple[Column, str]]:
    """The columns of the file in order, each with its unit where there are several."""
    ends = [column for column in REGISTER.columns if column.keeps_unit]
    pairs = [(end, unit) for unit in units for end in ends]
    place = REGISTER.columns.index(ends[0])
    others = [(column, "") for column in REGISTER.columns if column not in ends]
    return [*others[:place], *pairs, *others[place:]]


def header(units: list[str]) -> list[str]:
    headings = [
        f"{column.name} ({unit})" if unit else column.heading
        for column, unit in file_columns(units)
    ]
    return [*headings, *ONLY_SHOWN]


def rows(points: Any, units: list[str], *, on: dt.date) -> Iterator[list[Cell]]:
    """A line for each point of ``points`` (annotated with ``present``), a chunk in memory at a
    time; with its status of the day ``on``.
    """
    columns = file_columns(units)
    stored = [c.field for c in REGISTER.columns if c is not LAST_CALIBRATED]
    stored += [*SCHEDULE, *STANDING]
    sources = [SOURCES.get(name, name) for name in stored]
    for values in points.values_list(*sources).iterator(chunk_size=CHUNK):
        row = dict(zip(stored, values, strict=True))
        row[LAST_CALIBRATED.field] = _last_calibrated(row)
        yield [*(_cell(row, column, unit) for column, unit in columns), *_standing(row, on)]


def _standing(row: dict[str, Any], on: dt.date) -> tuple[Cell, ...]:
    """The cells of ONLY_SHOWN."""
    status = status_on(
        on,
        condition=row["condition"],
        next_due=row["next_due"],
        deferred=row["deferred_until"] is not None,
        out_of_service_on=row["out_of_service_on"],
        reasons=row["reasons"],
    )
    words = ", ".join(filter(None, (status.text, status.beside)))
    return words, on, " ".join(reason.text for reason in status.reasons)


def _cell(row: dict[str, Any], column: Column, unit: str) -> Cell:
    if unit and row["unit"] != unit:
        return None
    return None if row[column.field] == "" else row[column.field]


def _last_calibrated(row: dict[str, Any]) -> dt.date | None:
    """Known here while one interval has passed since the cycle's anchor; within grace the day is
    another.
    """
    return row["anchor_on"] if row["anchor_months"] == row["interval_months"] else None


class _Line:
    """What csv.writer writes to: hands each line on instead of keeping it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(points: Any, *, on: dt.date) -> Iterator[str]:
    units, writer = units_in(points), csv.writer(_Line())
    # The mark by which spreadsheets know the file for UTF-8.
    yield "\ufeff" + writer.writerow(header(units))
    for line in rows(points, units, on=on):
        yield writer.writerow([csv_cell(cell) for cell in line])


def xlsx_chunks(points: Any, *, on: dt.date) -> Iterator[bytes]:
    """A workbook, made row by row in a temporary file when it is first asked for; text stays text,
    without a shield.
    """
    with tempfile.TemporaryFile() as file:
        _write_book(file, points, on)
        file.seek(0)
        yield from iter(lambda: file.read(65_536), b"")


def _write_book(file: IO[bytes], points: Any, on: dt.date) -> None:
    units = units_in(points)
    book = xlsxwriter.Workbook(file, {"constant_memory": True, "in_memory": False})
    day, bold = book.add_format({"num_format": "yyyy-mm-dd"}), book.add_format({"bold": True})
    sheet = book.add_worksheet("register")
    sheet.freeze_panes(1, 1)
    for column, name in enumerate(header(units)):
        sheet.write_string(0, column, name, bold)
    for number, line in enumerate(rows(points, units, on=on), 1):
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
