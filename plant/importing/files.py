"""A file somebody uploads, CSV or XLSX, as a table of text. Knows nothing of what the columns mean.

A file is judged before it is unpacked: a few kilobytes of XLSX can unfold to gigabytes. Limits are
our own choice; the benchmark's 100,000 rows pass with room.
"""

from __future__ import annotations

import csv
import datetime as dt
import gc
import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import Any

import python_calamine

from plant.cells import shielded

MEGABYTE = 1024 * 1024
LARGEST_FILE = 50 * MEGABYTE
LARGEST_UNPACKED = 300 * MEGABYTE
STEEPEST_RATIO = 100  # unpacked / packed; a real sheet of 100,000 rows has about 20
RATIO_COUNTS_FROM = 4 * MEGABYTE
MOST_ENTRIES = 1_000
MOST_ROWS = 200_000
MOST_COLUMNS = 52  # A to AZ

# A cell beyond row 199,999 or column AZ: the reader would lay out the whole rectangle up to it in
# memory.
_FAR_CELL = re.compile(rb' r="(?:[B-Z][A-Z]|[A-Z]{3,}|[A-Z]{1,2}(?:\d{7,}|[2-9]\d{5}))')
_FORMULA_SIGNS = ("=", "@", "'")
_FORMULA_LIKE = re.compile(r"^[=@']", re.MULTILINE)
_EDGE = 64  # bytes of the last piece looked at again, so that no cell's address is cut in two
_OTHER_KINDS = {
    b"%PDF": "a PDF document",
    b"\xd0\xcf\x11\xe0": "an old XLS workbook or another Office document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"\x1f\x8b": "a compressed archive",
    b"Rar!": "a compressed archive",
    b"7z\xbc\xaf": "a compressed archive",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
}
_SAVE_AS = "Save it as CSV (UTF-8) or XLSX and send that."


class Unreadable(ValueError):
    """The file as a whole cannot be taken; the message says why and what to do."""


@dataclass(frozen=True)
class Table:
    """The sheet as text: one list per column, and the number each row has in the sender's own
    program.

    header: names as they stand in row 1. columns: as many, each as long as ``rows``. cells: the
    same columns as the workbook held them (None for a CSV), to tell a number from text that looks
    like one.
    """

    header: list[str]
    columns: list[list[str]]
    rows: Sequence[int]
    notes: list[str] = field(default_factory=list)
    cells: list[list[Any]] | None = None

    def numbers_in(self, column: int) -> list[int]:
        """Places (not row numbers) at which the workbook held a number in this column."""
        if self.cells is None:
            return []
        return [place for place, cell in enumerate(self.cells[column]) if type(cell) is float]


# ---- before unpacking ----
def examine(path: Path) -> None:
    """Refuse what is no CSV or XLSX, too large, or unfolds beyond the limits. Raises Unreadable."""
    size = path.stat().st_size
    if size == 0:
        raise Unreadable("The file is empty (0 bytes). Save it again and send that.")
    if size > LARGEST_FILE:
        raise Unreadable(
            f"The file has {size / MEGABYTE:.0f} MB; up to {LARGEST_FILE // MEGABYTE} MB are "
            "accepted. Split it."
        )
    with path.open("rb") as file:
        start = file.read(4096)
    for sign, kind in _OTHER_KINDS.items():
        if start.startswith(sign):
            raise Unreadable(f"The file is {kind}, not CSV or XLSX. {_SAVE_AS}")
    if is_workbook(start):
        _examine_workbook(path)
    elif b"\0" in start:
        raise Unreadable(f"The file is not text and not an XLSX workbook. {_SAVE_AS}")


def is_workbook(start: bytes) -> bool:
    return start.startswith(b"PK\x03\x04")


def _examine_workbook(path: Path) -> None:
    try:
        with zipfile.ZipFile(path) as archive:
            _examine_entries(archive.infolist(), path.stat().st_size)
            for entry in archive.infolist():
                _look_through(archive, entry)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        if isinstance(error, Unreadable):
            raise
        raise Unreadable(f"The workbook is damaged ({error}). {_SAVE_AS}") from error
    except (RuntimeError, NotImplementedError) as error:
        raise Unreadable(
            f"The workbook is locked or packed in an unusual way. {_SAVE_AS}"
        ) from error


def _examine_entries(entries: list[zipfile.ZipInfo], packed: int) -> None:
    if len(entries) > MOST_ENTRIES:
        raise Unreadable(
            f"The workbook has {len(entries)} parts, more than a workbook needs. {_SAVE_AS}"
        )
    if not any(entry.filename == "xl/workbook.xml" for entry in entries):
        raise Unreadable(f"The file is a ZIP archive, but not an XLSX workbook. {_SAVE_AS}")
    unpacked = sum(entry.file_size for entry in entries)
    steep = unpacked > RATIO_COUNTS_FROM and unpacked > STEEPEST_RATIO * packed
    if unpacked > LARGEST_UNPACKED or steep:
        raise Unreadable(
            f"The workbook unfolds to {unpacked / MEGABYTE:.0f} MB from {packed / 1024:.0f} kB, "
            "more than its rows can need. Delete empty rows, columns and sheets, or save it as CSV."
        )


def _look_through(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    """Unpack one part piece by piece: its size must be what it claims (a wrong claim fails its
    checksum).
    """
    is_sheet = entry.filename.startswith("xl/worksheets/")
    before = b""
    with archive.open(entry) as part:
        while piece := part.read(MEGABYTE):
            if is_sheet and _FAR_CELL.search(before + piece):
                raise Unreadable(
                    f"The workbook has a cell beyond row {MOST_ROWS - 1:,} or column AZ. Delete "
                    "what stands there, formats too, or save the rows you need as CSV."
                )
            before = piece[-_EDGE:]


# ---- reading ----
def read_table(path: Path) -> Table:
    """The first sheet, or the CSV, with its header and at least one row. ``examine`` comes first.
    Raises Unreadable.
    """
    with path.open("rb") as file:
        start = file.read(4)
    with _no_collecting():
        table = _read_workbook(path) if is_workbook(start) else _read_csv(path.read_bytes())
    if not table.rows:
        raise Unreadable("The file holds a header but no rows below it.")
    return table


def write_table(table: Table, path: Path) -> str:
    """Write the table as CSV that reads back the same, row numbers too; returns its SHA-256."""
    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerow(table.header)
    written = 1
    for row, line in zip(table.rows, zip(*table.columns, strict=True), strict=True):
        text.write("\r\n" * (row - written - 1))  # blank rows are counted
        writer.writerow(line)
        written = row
    data = text.getvalue().encode()
    path.write_bytes(data)
    return hashlib.sha256(data).hexdigest()


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Millions of cells are made here and none in a cycle: looking for cycles among them would
    double the time.
    """
    usual = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if usual:
            gc.enable()


def _read_csv(data: bytes) -> Table:
    notes: list[str] = []
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
        notes.append(
            "The file is not UTF-8; it was read as Windows-1252. Look at letters such as é and ü "
            "in the rows below."
        )
    delimiter = delimiter_of(text)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise Unreadable(
            f"The file cannot be read as CSV: {error}. Look for a quote that is never closed."
        ) from error
    return _table(lines, notes)


def delimiter_of(text: str) -> str:
    """Comma, semicolon or tab: whichever parts the header most, outside quotes.

    >>> delimiter_of('tag;"LRV, lowest (m)";note')
    ';'
    """
    header = re.sub(r'"[^"]*"', "", text.lstrip().split("\n", 1)[0])
    return max(",;\t", key=header.count)


def _read_workbook(path: Path) -> Table:
    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
        visible = [
            sheet.name
            for sheet in book.sheets_metadata
            if sheet.visible == python_calamine.SheetVisibleEnum.Visible
        ]
        names = visible or book.sheet_names
        sheet = book.get_sheet_by_name(names[0])
        first = sheet.start[0] if sheet.start else 0
        lines = [*([[]] * first), *sheet.iter_rows()]
    except Exception as error:  # the reader has errors of its own for each way of being broken
        raise Unreadable(f"The workbook cannot be read ({error}). {_SAVE_AS}") from error
    notes = [f"Only the first sheet, “{names[0]}”, was read."] if len(names) > 1 else []
    return _table(lines, notes, is_workbook=True)


def _table(lines: list[list[Any]], notes: list[str], *, is_workbook: bool = False) -> Table:
    """Rows to columns; blank rows are left out but counted, as the sender's program counts them."""
    header = _header(lines)
    if len(lines) > MOST_ROWS:
        raise Unreadable(
            f"The file has {len(lines):,} rows; up to {MOST_ROWS - 1:,} are accepted. Split it."
        )
    places = [place for place, line in enumerate(lines) if place and any(line)]
    body = [lines[place] for place in places]
    _refuse_cells_without_name(body, places, len(header))
    columns = _columns(body, len(header))
    rows = [place + 1 for place in places]
    if not is_workbook:
        return Table(header, columns, rows, notes)
    return Table(header, [texts_of(column) for column in columns], rows, notes, cells=columns)


def _header(lines: list[list[Any]]) -> list[str]:
    header = [text_of(cell).strip() for cell in lines[0]] if lines else []
    while header and not header[-1]:
        header.pop()
    if not header:
        raise Unreadable("Row 1 is empty; it must hold the names of the columns.")
    if len(header) > MOST_COLUMNS:
        raise Unreadable(
            f"The header has {len(header)} columns; up to {MOST_COLUMNS} are accepted."
        )
    return header


def _columns(body: list[list[Any]], width: int) -> list[list[Any]]:
    if all(len(line) == width for line in body):
        return list(map(list, zip(*body, strict=True)))
    columns = [list(column) for column in zip_longest(*body, fillvalue="")]
    return [*columns, *([""] * len(body) for _ in range(len(columns), width))][:width]


def _refuse_cells_without_name(body: list[list[Any]], places: list[int], width: int) -> None:
    if max(map(len, body), default=0) <= width:
        return
    for place, line in zip(places, body, strict=True):
        if any(line[width:]):
            raise Unreadable(
                f"Row {place + 1} has more cells than the header has names ({width}). "
                "Name the column in row 1, or put quotes round a value that holds the separator."
            )


def texts_of(cells: list[Any]) -> list[str]:
    """Each cell as text. Equal cells share their text, which is found once."""
    types = set(map(type, cells))
    if types == {str} and not _FORMULA_LIKE.search("\n".join(cells)):
        return cells
    if bool in types:  # True and 1.0 are equal, but not the same text
        return [text_of(cell) for cell in cells]
    known = {cell: text_of(cell) for cell in set(cells)}
    return [known[cell] for cell in cells]


def text_of(cell: Any) -> str:
    """A workbook's cell as a person would have typed it: 365.0 is 365, a day is 2026-05-12.

    >>> text_of(365.0), text_of(0.1), text_of(True), text_of(dt.datetime(2026, 5, 12))
    ('365', '0.1', 'yes', '2026-05-12')
    """
    if isinstance(cell, str):
        # Shielded as a CSV has it, so that both kinds of file are read alike from here on.
        return shielded(cell) if cell[:1] in _FORMULA_SIGNS else cell
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat()
    return cell.isoformat() if isinstance(cell, dt.date) else str(cell)
