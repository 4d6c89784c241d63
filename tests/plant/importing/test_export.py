"""The register as a file: what goes out comes in again and changes nothing, and no cell runs in a
spreadsheet.
"""

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
import python_calamine

from plant.importing.models import ImportBatch
from plant.ledger.models import RowHistory
from plant.quantities import day_text
from tests.files import reasons, send
from tests.makers import (
    NOON,
    TODAY,
    a_calibrated_point,
    a_person,
    a_point,
    a_product,
    a_site,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
    an_installation,
)
from tests.plant.importing.register_rows import book

pytestmark = pytest.mark.django_db

HOSTILE = [
    "=1+1",
    "+cmd",
    "-2+3",
    "@sum",
    "\tx",
    "'=x",
    "'quoted'",
    '"; =1',
    "a,b",
    "-0.12",
    "–",
    "Ø 日本",
]


@pytest.fixture
def register(site):
    """Points in four units, reverse, volume, with and without transmitter, and with notes that
    would be formulas.
    """
    tank = a_tank(diameter=Decimal(5), height=Decimal(12))
    an_installation(
        a_point("LT-1", tank, note="=HYPERLINK(1)"),
        a_transmitter("-77", maker="@home", probe_length_mm=Decimal("8100.5"), note="+x"),
        dt.date(2024, 2, 29),
    )
    a_point(
        "LT-2",
        tank,
        unit="mm",
        lower=Decimal(8300),
        upper=Decimal(300),
        tolerance=20,
        tolerance_unit="mm",
        adjust_limit=5,
    )
    a_point(
        "LT-3",
        tank,
        quantity="volume",
        unit="m3",
        lower=Decimal(0),
        upper=Decimal("200.5"),
        duty="custody",
    )
    a_point(
        "LT-4",
        tank,
        quantity="volume",
        unit="L",
        lower=Decimal(0),
        upper=Decimal(200500),
        tolerance_unit="mA",
    )
    a_point(
        "LT-5", tank, anchor_on=dt.date(2026, 1, 31), anchor_months=12, due_on=dt.date(2027, 1, 31)
    )
    a_point("LT-6", tank, signal="1-5V", grace_days=7, interval_months=6, job_hours=Decimal("2.5"))
    return tank


def text_of(page) -> str:
    return b"".join(page).decode("utf-8")


def lines_of(page) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text_of(page).removeprefix("\ufeff"))))


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_importing_its_own_export_changes_nothing(register, sign_in, planner, kind):
    before, history = book(), RowHistory.objects.count()
    data = b"".join(sign_in(planner).get(f"/register/export.{kind}"))
    batch = send(data, by=planner, name=f"register.{kind}")
    assert reasons(batch) == []
    assert (batch.state, batch.rows_same, batch.rows_new, batch.rows_changed) == (
        ImportBatch.ImportState.CHECKED, 6, 0, 0,
    )  # fmt: skip
    assert book() == before
    assert RowHistory.objects.count() == history


def test_importing_the_export_of_calibrated_points_changes_nothing(
    sign_in, planner, technician, approver
):
    an_approved_record(an_equipped_point(), by=technician, approved_by=approver)
    data = b"".join(sign_in(planner).get("/register/export.csv"))
    batch = send(data, by=planner)
    assert reasons(batch) == []
    assert (batch.rows_same, batch.rows_changed) == (1, 0)


def test_text_that_would_run_is_shielded_and_numbers_stay_numbers(site, sign_in, planner):
    tank = a_tank(datum=Decimal(1))
    for number, note in enumerate(HOSTILE):
        a_point(f"LT-{number:02}", tank, note=note, lower=Decimal("-0.12"))
    lines = lines_of(sign_in(planner).get("/register/export.csv"))
    assert {line["LRV (m)"] for line in lines} == {"-0.12"}
    assert [line["note"] for line in lines] == [
        "'=1+1", "'+cmd", "'-2+3", "'@sum", "'\tx", "''=x", "'quoted'", '"; =1', "a,b", "'-0.12", "–", "Ø 日本",
    ]  # fmt: skip


def test_a_workbook_holds_text_as_text_numbers_as_numbers_and_days_as_days(
    register, sign_in, planner
):
    data = b"".join(sign_in(planner).get("/register/export.xlsx"))
    rows = (
        python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        .get_sheet_by_index(0)
        .to_python()
    )
    first = dict(zip(rows[0], rows[1], strict=True))
    assert (first["tag"], first["LRV (m)"], first["serial"], first["note"]) == (
        "LT-1",
        0.3,
        "-77",
        "=HYPERLINK(1)",
    )
    assert first["installed"] == dt.date(2024, 2, 29)


def test_the_file_holds_what_the_filter_shows(register, sign_in, planner):
    lines = lines_of(sign_in(planner).get("/register/export.csv?duty=custody"))
    assert [line["tag"] for line in lines] == ["LT-3"]
    assert "LRV (m3)" in lines[0]
    assert "LRV (m)" not in lines[0]


@pytest.fixture
def noon(monkeypatch):
    """The pages' clock stands at the makers' noon."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)


@pytest.mark.usefixtures("noon")
def test_the_file_says_the_status_of_each_point_and_of_which_day(site, sign_in, planner):
    a_calibrated_point("LT-1", due_on=TODAY + dt.timedelta(235))
    an_equipped_point("LT-2", due_on=TODAY + dt.timedelta(235))
    off = a_calibrated_point("LT-3")
    off.out_of_service_on, off.out_of_service_why = TODAY, "opened"
    off.save()
    lines = lines_of(sign_in(planner).get("/register/export.csv"))
    words = {line["tag"]: (line["status"], line["status day"]) for line in lines}
    assert words == {
        "LT-1": ("in date, 235 d left", str(TODAY)),
        "LT-2": ("not calibrated", str(TODAY)),
        "LT-3": (f"out of service since {day_text(TODAY)}", str(TODAY)),
    }
    serial = lines[1]["serial"]
    assert lines[1]["reasons"] == f"{serial} has no approved calibration here."


def test_a_status_in_a_file_sets_nothing(site, planner, sign_in):
    an_equipped_point("LT-2")
    text = text_of(sign_in(planner).get("/register/export.csv"))
    batch = send(text.replace("not calibrated", "in date"), by=planner)
    assert reasons(batch) == []
    assert (batch.rows_same, batch.rows_changed) == (1, 0)


def test_a_file_holds_one_site(register, sign_in):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    a_point("LT-9", a_tank("T-1", elsewhere, product=a_product(elsewhere)))
    both = a_person("both", "planner")
    both.appointments.create(site=elsewhere, role="planner", starts_on=dt.date(2020, 1, 1))
    client = sign_in(both)
    assert client.get("/register/export.csv").status_code == 302
    lines = lines_of(client.get(f"/register/export.csv?site={elsewhere.pk}"))
    assert [line["tag"] for line in lines] == ["LT-9"]


def test_an_export_reads_in_chunks_with_few_queries(
    register, sign_in, planner, django_assert_max_num_queries
):
    client = sign_in(planner)
    with django_assert_max_num_queries(6):
        text_of(client.get("/register/export.csv"))
