"""The register's file: what it brings in, what it refuses, and that sending it twice changes
nothing.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration.importing.kinds import run_now
from plant.importing import acts as imports
from plant.importing.refusals import ChangeReasonMissing
from plant.ledger.models import LedgerEntry, RowHistory
from plant.points.models import DueCount, MeasuringPoint
from plant.transmitters.models import Installation
from tests.files import a_workbook, applied, reasons, send
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_point,
    a_procedure,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
    an_installation,
)
from tests.plant.importing.register_rows import FULL, HEADER, book, rows

pytestmark = pytest.mark.django_db


# ---- what comes in ----
def test_a_file_brings_in_points_transmitters_and_installations(tank, planner):
    batch = applied(FULL, by=planner)
    assert (batch.state, batch.rows_new, batch.rows_changed, batch.rows_same) == (
        "applied",
        2,
        0,
        0,
    )
    first = MeasuringPoint.objects.get(tag="LT-101A")
    assert (first.tolerance, first.tolerance_unit, first.adjust_limit) == (4, "mm", 2)
    schedule = (first.due_on, first.anchor_on, first.anchor_months)
    assert schedule == (dt.date(2026, 12, 14), dt.date(2026, 9, 14), 3)
    second = MeasuringPoint.objects.get(tag="LT-101B")
    assert second.is_reverse
    assert (second.due_on, second.anchor_on) == (TODAY, None)
    present = Installation.objects.get(point=first)
    assert (present.transmitter.serial, present.installed_on) == ("TW80113", dt.date(2020, 3, 2))
    assert present.transmitter.status == "in service"
    assert sum(DueCount.objects.values_list("points", flat=True)) == 2


def test_an_import_is_one_ledger_entry_with_counts_and_the_files_hash(tank, planner):
    batch = applied(FULL, by=planner)
    entry = LedgerEntry.objects.get(act="import")
    assert entry.person == planner
    assert entry.details["sha256"] == batch.sha256
    assert (entry.details["new"], entry.details["rows"]) == (2, 2)


def test_the_same_file_again_writes_no_row(tank, planner):
    applied(FULL, by=planner)
    before, history = book(), RowHistory.objects.count()
    batch = applied(FULL, by=planner)
    assert (batch.rows_new, batch.rows_changed, batch.rows_same) == (0, 0, 2)
    assert book() == before
    assert RowHistory.objects.count() == history


def test_ranges_in_several_units_stand_side_by_side(tank, planner):
    applied(
        rows(
            "tag,tank,LRV (m),URV (m),LRV (m3),URV (m3),LRV (in),URV (in),tolerance",
            "LT-101A,T-101,0.3,8.3,,,,,1", "LT-101B,T-101,,,10,900,,,1", "LT-101C,T-101,,,,,12,300,1",
        ),
        by=planner,
    )  # fmt: skip
    found = MeasuringPoint.objects.values_list("tag", "quantity", "unit", "lower", "upper")
    assert list(found) == [
        ("LT-101A", "level", "m", Decimal("0.3"), Decimal("8.3")),
        ("LT-101B", "volume", "m3", 10, 900),
        ("LT-101C", "level", "in", 12, 300),
    ]


def test_a_workbook_says_the_same_as_the_csv(tank, planner):
    header, *lines = [line.split(",") for line in FULL.strip().split("\n")]
    cells = [
        [
            dt.datetime.fromisoformat(c)
            if c[:3] == "202"
            else float(c)
            if c.replace(".", "").isdigit()
            else c
            for c in line
        ]
        for line in lines
    ]
    applied(FULL, by=planner)
    batch = send(a_workbook([header, *cells]), by=planner, name="points.xlsx")
    assert reasons(batch) == []
    assert (batch.rows_new, batch.rows_changed, batch.rows_same) == (0, 0, 2)


def test_an_empty_cell_leaves_what_the_book_holds(tank, planner):
    applied(FULL, by=planner)
    text = rows(HEADER + ",tolerance unit,note,interval (months)", "LT-101A,T-101,0.3,11.4,4,,,")
    batch = send(text, by=planner)
    assert (batch.rows_changed, batch.rows_same) == (0, 1)


def test_a_change_needs_its_reason_and_keeps_the_former_row(tank, planner):
    applied(FULL, by=planner)
    batch = send(FULL.replace("11.4,4-20mA,4,mm", "11.2,4-20mA,5,mm"), by=planner)
    assert batch.report["shown"] == [
        {
            "row": 2,
            "name": "LT-101A",
            "new": False,
            "what": [["URV", "11.4", "11.2"], ["tolerance", "4", "5"]],
        }
    ]
    with pytest.raises(ChangeReasonMissing) as refusal:
        imports.ask_to_apply(batch, by=planner)
    assert refusal.value.rows == 1
    imports.ask_to_apply(batch, why="custody tolerance renegotiated", by=planner)
    run_now(batch, at=NOON)
    kept = RowHistory.objects.get(table_name="plant_measuringpoint")
    assert kept.before["tolerance"] == 4
    assert (
        LedgerEntry.objects.get(act="import", details__changed=1).why
        == "custody tolerance renegotiated"
    )


def test_nothing_is_stored_before_it_is_applied(tank, planner):
    send(FULL, by=planner)
    assert book() == [[], [], []]


def test_the_due_date_follows_the_interval_from_the_last_day_of_a_month(tank, planner):
    text = rows(
        HEADER + ",interval (months),last calibrated", "LT-101A,T-101,0.3,8.3,1,1,2026-01-31"
    )
    applied(text, by=planner)
    assert MeasuringPoint.objects.get().due_on == dt.date(2026, 2, 28)


def test_a_due_date_that_follows_from_records_stays_with_a_warning(
    tank, planner, technician, approver
):
    point = an_equipped_point("LT-101A")
    an_approved_record(point, by=technician, approved_by=approver)
    text = rows(HEADER + ",due", "LT-101A,T-101,0.3,8.3,1,2029-01-01")
    batch = applied(text, by=planner)
    assert (batch.rows_changed, batch.rows_same) == (0, 1)
    assert "follows from its records" in batch.report["warnings"][0][3]
    point.refresh_from_db()
    assert point.due_on == dt.date(2027, 11, 2)


def test_a_changed_interval_moves_the_due_date_of_a_point_with_records(
    tank, planner, technician, approver
):
    point = an_equipped_point("LT-101A")
    an_approved_record(point, by=technician, approved_by=approver)
    applied(
        rows(HEADER + ",interval (months)", "LT-101A,T-101,0.3,8.3,1,6"),
        by=planner,
        why="ships twice a year",
    )
    point.refresh_from_db()
    assert point.due_on == dt.date(2027, 5, 2)


# ---- what is refused ----
def test_every_problem_is_listed_by_row_and_column(tank, planner):
    batch = send(
        rows(
            HEADER + ",last calibrated,signal",
            "LT-101A,T-101,0.3,8.3,1,,",
            'LT-101B,T-101,"0,5",high,0,2027-01-01,3-15psi',
            "LT-101C,T-1O1,1e999,nan,-1,02/03/2026,",
            "LT-101A,T-101,2,2,1,,",
            "LT-101E,T-101,0.3,13.4,1,,",
            ",T-101,0.3,8.3,1,,",
        ),
        by=planner,
    )
    problems = reasons(batch)
    assert batch.state == "refused"
    assert batch.problems_found == len(problems)
    places = {(row, column) for row, column, _ in problems}
    assert places == {
        (3, "LRV (m)"), (3, "URV (m)"), (3, "tolerance"), (3, "last calibrated"), (3, "signal"),
        (4, "tank"), (4, "LRV (m)"), (4, "URV (m)"), (4, "tolerance"), (4, "last calibrated"),
        (5, "tag"), (5, "URV (m)"), (6, "URV (m)"), (7, "tag"),
    }  # fmt: skip
    said = {(row, column): reason for row, column, reason in problems}
    assert "write 0.5 with a point" in said[3, "LRV (m)"]
    assert "did you mean “T-101”" in said[4, "tank"]
    assert "4-20mA, 0-20mA, 1-5V or 0-10V" in said[3, "signal"]
    assert "row 2" in said[5, "tag"]
    assert "12.000 m" in said[6, "URV (m)"]
    assert book() == [[], [], []]


@pytest.mark.parametrize(
    ("header", "column", "reason"),
    [
        ("tag,tank,LRV (m),URV (m)", "tolerance", "missing"),
        (HEADER + ",colour", "colour", "no column"),
        (HEADER + ",Tag", "Tag", "is there twice"),
        ("tag,tank,LRV (yd),URV (m),tolerance", "LRV (yd)", "mm, cm, in, ft, m3 or L"),
        ("tag,tank,LRV,URV (m),tolerance", "LRV", "needs its unit"),
    ],
)
def test_a_wrong_header_is_refused_by_its_heading(header, column, reason, tank, planner):
    cells = ["LT-101A", "T-101", "0.3", "8.3", "1", "x"][: header.count(",") + 1]
    problems = reasons(send(rows(header, ",".join(cells)), by=planner))
    row, _, why = next(each for each in problems if each[1] == column)
    assert row == 1
    assert reason in why


def test_a_transmitter_that_is_installed_elsewhere_is_refused(tank, planner):
    an_installation(a_point("LT-101D"), a_transmitter("S1", maker="Tarn & Weir"))
    text = rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S1,radar")
    assert "has been installed at LT-101D since 2020-01-01" in reasons(send(text, by=planner))[0][2]


def test_another_transmitter_at_the_point_is_a_swap_not_an_import(tank, planner):
    an_installation(a_point("LT-101A"), a_transmitter("S1"))
    text = rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S2,radar")
    assert "S1 has been installed at this point" in reasons(send(text, by=planner))[0][2]


def test_an_installation_does_not_reach_into_an_earlier_one(tank, planner):
    point = a_point("LT-101A")
    an_installation(point, a_transmitter("S1"), LONG_AGO, dt.date(2024, 5, 1))
    text = rows(
        HEADER + ",serial,principle,installed", "LT-101A,T-101,0.3,8.3,1,S2,radar,2024-04-01"
    )
    assert "lasted beyond" in reasons(send(text, by=planner))[0][2]
    applied(text.replace("2024-04-01", "2024-05-01"), by=planner, why="late")


def test_facts_of_a_transmitter_need_its_serial_number_and_a_new_one_its_principle(tank, planner):
    header = HEADER + ",serial,maker,principle"
    text = rows(
        header, "LT-101A,T-101,0.3,8.3,1,,Tarn & Weir,", "LT-101B,T-101,0.3,8.3,1,S2,Tarn & Weir,"
    )
    assert [r[:2] for r in reasons(send(text, by=planner))] == [(2, "maker"), (3, "principle")]


def test_a_serial_number_of_two_makers_needs_the_maker(tank, planner):
    a_transmitter("S1", maker="Tarn & Weir")
    a_transmitter("S1", maker="Corrie")
    text = rows(HEADER + ",serial", "LT-101A,T-101,0.3,8.3,1,S1")
    assert reasons(send(text, by=planner))[0][1:] == (
        "maker", "is missing: Corrie or Tarn & Weir made a transmitter with this serial number",
    )  # fmt: skip


def test_without_a_maker_the_one_installed_at_the_tag_is_meant(tank, planner):
    for tag, maker in (("LT-101A", "Tarn & Weir"), ("LT-101B", "")):
        an_installation(a_point(tag), a_transmitter("S1", maker=maker))
    text = rows(HEADER + ",serial", "LT-101A,T-101,0.3,8.3,1,S1")
    assert send(text, by=planner).rows_same == 1
    assert send(text.replace("101A", "101B"), by=planner).rows_same == 1


def test_only_an_approver_lengthens_the_interval_of_safety_duty(tank, planner):
    a_point("LT-101D", duty="safety", interval_months=12)
    text = rows(HEADER + ",interval (months)", "LT-101D,T-101,0.3,8.3,1,24")
    assert "only an approver" in reasons(send(text, by=planner))[0][2]


def test_an_unknown_procedure_is_told_with_the_known_ones(tank, planner):
    a_procedure("cap-tank")
    text = rows(HEADER + ",procedure", "LT-101A,T-101,0.3,8.3,1,cap-tnk")
    assert "write cap-tank" in reasons(send(text, by=planner))[0][2]


def test_a_point_that_indicates_volume_has_no_tolerance_in_mm(tank, planner):
    header = "tag,tank,LRV (m3),URV (m3),tolerance,tolerance unit,indicates"
    text = rows(header, "LT-101A,T-101,1,900,1,mm,", "LT-101B,T-101,1,900,1,%,level")
    assert [r[:2] for r in reasons(send(text, by=planner))] == [
        (2, "tolerance unit"),
        (3, "indicates"),
    ]
