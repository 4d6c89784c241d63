"""Files as such: what is taken, what is refused before it is unpacked."""

from __future__ import annotations

import datetime as dt
import io
import struct
import zipfile
import zlib

import pytest

from plant.importing.files import MOST_ROWS, Unreadable, examine, read_table, write_table
from tests.files import HOSTILE, a_workbook


@pytest.fixture
def saved(tmp_path):
    def save(data: bytes, name: str = "file.csv"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return save


def refused(path) -> str:
    with pytest.raises(Unreadable) as caught:
        taken(path)
    return str(caught.value)


def taken(path):
    examine(path)
    return read_table(path)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_the_separator_is_told_from_the_header(saved, delimiter, ending):
    lines = [
        f'tag{delimiter}"LRV (m)"{delimiter}note',
        f'A{delimiter}0.3{delimiter}"x{delimiter}y"',
    ]
    table = taken(saved(ending.join(lines).encode()))
    assert (table.header, table.columns) == (
        ["tag", "LRV (m)", "note"], [["A"], ["0.3"], [f"x{delimiter}y"]],
    )  # fmt: skip


def test_a_byte_order_mark_is_no_part_of_the_first_heading(saved):
    assert taken(saved("\ufefftag\nA\n".encode())).header == ["tag"]


def test_text_that_is_not_utf8_is_read_with_a_note(saved):
    table = taken(saved("product\nSeifenlauge für Öl\n".encode("cp1252")))
    assert table.columns == [["Seifenlauge für Öl"]]
    assert "Windows-1252" in table.notes[0]


def test_blank_rows_are_left_out_but_counted(saved):
    table = taken(saved(b"tag\nA\n\n\nB\n"))
    assert (table.columns, list(table.rows)) == ([["A", "B"]], [2, 5])


def test_short_rows_are_filled_up_and_long_ones_refused(saved):
    assert taken(saved(b"tag,tank,note\nA\nB,C\n")).columns == [
        ["A", "B"],
        ["", "C"],
        ["", ""],
    ]
    assert "Row 3 has more cells" in refused(saved(b"tag,tank\nA,B\nC,D,E\n"))


def test_a_workbooks_cells_are_text_as_typed(saved):
    book = a_workbook(
        [
            ["tag", "n", "day", "x"],
            ["A", 365, dt.date(2026, 5, 12), 0.1],
            ["B", 7.25, None, "=1+1"],
        ]
    )
    table = taken(saved(book, "file.xlsx"))
    assert table.columns == [["A", "B"], ["365", "7.25"], ["2026-05-12", ""], ["0.1", "0"]]
    assert table.numbers_in(1) == [0, 1]


def test_rows_of_a_workbook_that_begins_lower_keep_their_numbers(saved):
    table = taken(saved(a_workbook([["tag"], [], ["A"]]), "file.xlsx"))
    assert list(table.rows) == [3]


def test_only_the_first_sheet_is_read_and_that_is_said(saved):
    table = taken(saved(a_workbook([["tag"], ["A"]], "other"), "file.xlsx"))
    assert "Only the first sheet, “rows”" in table.notes[0]


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("empty.csv", "0 bytes"),
        ("document.csv", "PDF"),
        ("only-header.csv", "no rows"),
        ("blank-first-row.csv", "Row 1 is empty"),
        ("unclosed-quote.csv", "never closed"),
        ("utf16.csv", "UTF-16"),
        ("binary.csv", "not text"),
        ("not-a-workbook.xlsx", "not an XLSX workbook"),
        ("cut-off.xlsx", "damaged"),
        ("old.xls", "XLS"),
    ],
)
def test_the_wrong_kind_of_file_is_refused_in_words(name, reason):
    assert reason in refused(HOSTILE / name)


def test_a_workbook_that_unfolds_to_too_much_is_refused_unread(saved):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", b" " * (64 * 1024 * 1024))
    assert len(file.getvalue()) < 100_000
    assert "unfolds to 64 MB" in refused(saved(file.getvalue(), "file.xlsx"))


def test_a_part_that_hides_its_size_is_refused(saved):
    """The directory claims 100 bytes; the packed stream holds 32 MB."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = packer.compress(b" " * (32 * 1024 * 1024)) + packer.flush()
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", body)
    data = bytearray(file.getvalue())
    for signature, at in ((b"PK\x03\x04", 8), (b"PK\x01\x02", 10)):
        place = data.rindex(signature)
        struct.pack_into("<H", data, place + at, 8)  # "deflated"
        struct.pack_into("<I", data, place + at + 14, 100)  # the unpacked size
    assert "damaged" in refused(saved(bytes(data), "file.xlsx"))


@pytest.mark.parametrize("cell", ["XFD1", "A1048576", "BA2", "Z200000"])
def test_a_far_cell_is_refused_before_the_rectangle_to_it_is_laid_out(saved, cell):
    source = zipfile.ZipFile(io.BytesIO(a_workbook([["tag"], ["A"]])))
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in source.namelist():
            text = source.read(name)
            if name.endswith("sheet1.xml"):
                text = text.replace(b'r="A2"', f'r="{cell}"'.encode())
            archive.writestr(name, text)
    assert "beyond row" in refused(saved(file.getvalue(), "file.xlsx"))


def test_too_many_rows_are_refused(saved):
    assert "Split it" in refused(saved(b"tag\n" + b"A\n" * MOST_ROWS))


def test_too_many_columns_are_refused(saved):
    assert "up to 52" in refused(saved(",".join(f"c{n}" for n in range(60)).encode() + b"\nA\n"))


def test_a_table_written_as_csv_reads_back_the_same(saved):
    rows = [["a;b;c", 'say "x"'], [], ["'=1", "two\nlines"], ["é", ""], [], [], [0.1, "z"]]
    table = taken(saved(a_workbook(rows), "file.xlsx"))
    path = saved(b"", "again.csv")
    write_table(table, path)
    again = taken(path)
    assert (again.header, again.columns, list(again.rows)) == (
        table.header, table.columns, list(table.rows),
    )  # fmt: skip
