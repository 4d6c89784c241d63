"""Any cell of any kind of file may hold anything: it is taken, or refused by row and column, never
an error of ours.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random

import pytest

from calibration.importing.kinds import IMPORTERS
from plant.importing.templates import rows_of
from plant.ledger.models import LedgerEntry
from tests.files import applied, reasons, send
from tests.makers import (
    a_certificate,
    a_point,
    a_product,
    a_standard,
    a_tank,
    a_transmitter,
    an_installation,
)

pytestmark = pytest.mark.django_db

NASTY = (
    "", " ", "0", "-0", "-1", "1e999", "-1e-999", "1e20", "99999999999999", "0.000001", "NaN", "inf", "0,5", "1.2.3",
    "٣", "½", "2026-02-30", "0001-01-01", "9999-12-31",
    "2026-05-12T10:00", "yes", "=1+1", "'=1+1", "@x", "+", "−", "#REF!",
    "x" * 500, "a\nb", "\x07", "\u202e", "😀", "DROP TABLE plant_tank; --", "%s", "%", "{}", "\\N", "\\.", "\t",
    ";;;", "0:0; 0:0",
    "1:1", "0:0; 1:x", "LT-101D", "T-101", "MM-01", "m", "4-20mA", "radar", "zero; zero", "as left",
)  # fmt: skip


@pytest.fixture
def plant(site):
    """What the example rows name."""
    a_product()
    point = a_point("LT-101D", a_tank(), lower="10.2", upper="11.6")
    an_installation(
        point, a_transmitter("TW11871", principle="capacitance rod"), dt.date(2021, 6, 7)
    )
    for name in ("MM-01", "DT-02"):
        a_certificate(a_standard(name))


def as_csv(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("kind", sorted(IMPORTERS))
def test_a_cell_may_hold_anything(kind, seed, plant, planner):
    rng = random.Random(seed)  # noqa: S311 - the same damage in every run
    header, *rows = rows_of(IMPORTERS[kind].layout)
    if seed % 5 == 0:
        header[rng.randrange(len(header))] = rng.choice(NASTY)
    for _ in range(rng.randint(1, 8)):
        rng.choice(rows)[rng.randrange(len(header))] = rng.choice(NASTY)
    batch = send(as_csv([header, *rows]), by=planner, kind=kind)
    problems = reasons(batch)
    assert not any("Spanbook failed" in reason for _, _, reason in problems)
    assert (batch.state == "refused") == bool(problems)
    assert all(column and reason for _, column, reason in problems)
    assert not LedgerEntry.objects.filter(act="import").exists()
    if batch.state == "checked":
        batch = applied(as_csv([header, *rows]), by=planner, kind=kind, why="seen to be right")
        assert (batch.state, reasons(batch)) == ("applied", [])
        again = send(as_csv([header, *rows]), by=planner, kind=kind)
        assert (again.rows_new, again.rows_changed) == (0, 0)
