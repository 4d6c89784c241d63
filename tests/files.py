"""Files for tests of imports: sent, applied, and read back as reasons."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import xlsxwriter
from PIL import Image

from calibration.importing.kinds import run_now
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.people.models import Person
from plant.sites.models import Site
from tests.makers import NOON

HOSTILE = Path(__file__).parent.parent / "fixtures" / "hostile"


def send(
    data: str | bytes, *, by: Person, kind: str = "register", name: str = "points.csv"
) -> ImportBatch:
    """Receive and check a file for the planner's site."""
    chunks = [data.encode() if isinstance(data, str) else data]
    site = Site.objects.get(pk=by.site_ids("import")[0])
    return run_now(
        imports.receive(chunks, file_name=name, kind=kind, site=site, by=by, at=NOON), at=NOON
    )


def applied(data: str | bytes, *, by: Person, why: str = "", **more: str) -> ImportBatch:
    batch = send(data, by=by, **more)
    assert reasons(batch) == []
    imports.ask_to_apply(batch, why=why, by=by)
    return run_now(batch, at=NOON)


def reasons(batch: ImportBatch) -> list[tuple[int, str, str]]:
    return [(p.row, p.column, p.reason) for p in batch.problems.all()]


def a_workbook(rows: list[list[Any]], *more_sheets: str) -> bytes:
    """An XLSX file; a cell that is a str starting with ``=`` is a formula."""
    file = io.BytesIO()
    book = xlsxwriter.Workbook(file, {"in_memory": True, "remove_timezone": True})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    sheet = book.add_worksheet("rows")
    for number, row in enumerate(rows):
        for column, cell in enumerate(row):
            if hasattr(cell, "year"):
                sheet.write_datetime(number, column, cell, day)
            else:
                sheet.write(number, column, cell)
    for name in more_sheets:
        book.add_worksheet(name)
    book.close()
    return file.getvalue()


def a_picture(
    kind: str = "JPEG", size: tuple[int, int] = (640, 480), *, colour: str = "", **more
) -> bytes:
    """A picture of noise, unlike any other; of one colour where it is named."""
    noise = None if colour else Image.effect_noise(size, 40).convert("RGB")
    target = io.BytesIO()
    (noise or Image.new("RGB", size, colour)).save(target, kind, **more)
    return target.getvalue()
