"""An empty file of each kind to fill in: the headings, and example rows that show how."""

from __future__ import annotations

import csv
import io

import xlsxwriter

from plant.importing.columns import Layout

NUMBER_WIDTH = 14


def rows_of(layout: Layout) -> list[list[str]]:
    """The header and the example rows."""
    return [[column.heading for column in layout.columns], *layout.examples]


def csv_template(layout: Layout) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows(rows_of(layout))
    # The mark by which spreadsheets know the file for UTF-8.
    return text.getvalue().encode("utf-8-sig")


def xlsx_template(layout: Layout) -> bytes:
    """Every cell is formatted as text, so that a tag such as 0012 keeps its zeros when somebody
    types it.
    """
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file, {"in_memory": True})
    text, bold = book.add_format({"num_format": "@"}), book.add_format({"bold": True})
    sheet = book.add_worksheet("rows")
    sheet.freeze_panes(1, 1)
    sheet.set_column(0, len(layout.columns) - 1, NUMBER_WIDTH, text)
    for number, row in enumerate(rows_of(layout)):
        for column, cell in enumerate(row):
            sheet.write_string(number, column, cell, text if number else bold)
    book.close()
    return file.getvalue()
