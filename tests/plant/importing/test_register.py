"""The register's file: what it brings in, what it refuses, and that sending it twice changes nothing."""

from __future__ import annotations

import datetime as dt
import hashlib
from decimal import Decimal

import pytest

from calibration.operations import imports as all_imports
from calibration.operations.imports import run_now
from plant.importing import files
from plant.importing import register_sql as sql
from plant.models import (
    DueCount,
    ImportBatch,
    Installation,
    LedgerEntry,
    MeasuringPoint,
    RowHistory,
    Transmitter,
)
from plant.operations import imports
from plant.refusals import Refused
from tests.files import a_workbook, applied, reasons, send
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_point,
    a_procedure,
    a_tank,
    a_transmitter,
    an_approved_record,
    an_equipped_point,
    an_installation,
)

pytestmark = pytest.mark.django_db

HEADER = "tag,tank,LRV (m),URV (m),tolerance"
FULL = (
    "tag,tank,indicates,LRV (m),URV (m),signal,tolerance,tolerance unit,interval (months),last calibrated,serial,"
    "maker,principle,installed\n"
    "LT-101A,T-101,level,0.3,11.4,4-20mA,4,mm,3,2026-09-14,TW80113,Tarn & Weir,radar,2020-03-02\n"
    "LT-101B,T-101,level,11.4,0.3,4-20mA,1,%,12,,TW10001,Tarn & Weir,hydrostatic,2020-03-02\n"
)


def book() -> list[list[dict]]:
    return [
        list(m.objects.order_by("pk").values()) for m in (MeasuringPoint, Transmitter, Installation)
    ]


def rows(header: str, *lines: str) -> str:
    return "\n".join([header, *lines, ""])


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
    hanging = Installation.objects.get(point=first)
    assert (hanging.transmitter.serial, hanging.installed_on) == ("TW80113", dt.date(2020, 3, 2))
    assert hanging.transmitter.status == "in service"
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
    with pytest.raises(Refused, match="Say why"):
        imports.ask_to_apply(batch, by=planner)
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
    told = reasons(batch)
    assert batch.state == "refused"
    assert batch.problems_found == len(told)
    places = {(row, column) for row, column, _ in told}
    assert places == {
        (3, "LRV (m)"), (3, "URV (m)"), (3, "tolerance"), (3, "last calibrated"), (3, "signal"),
        (4, "tank"), (4, "LRV (m)"), (4, "URV (m)"), (4, "tolerance"), (4, "last calibrated"),
        (5, "tag"), (5, "URV (m)"), (6, "URV (m)"), (7, "tag"),
    }  # fmt: skip
    said = {(row, column): reason for row, column, reason in told}
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
        (HEADER + ",Tag", "Tag", "stands twice"),
        ("tag,tank,LRV (yd),URV (m),tolerance", "LRV (yd)", "mm, cm, in, ft, m3 or L"),
        ("tag,tank,LRV,URV (m),tolerance", "LRV", "needs its unit"),
    ],
)
def test_a_wrong_header_is_told_by_its_heading(header, column, reason, tank, planner):
    cells = ["LT-101A", "T-101", "0.3", "8.3", "1", "x"][: header.count(",") + 1]
    told = reasons(send(rows(header, ",".join(cells)), by=planner))
    row, _, why = next(each for each in told if each[1] == column)
    assert row == 1
    assert reason in why


def test_a_transmitter_that_hangs_elsewhere_is_refused(tank, planner):
    an_installation(a_point("LT-101D"), a_transmitter("S1", maker="Tarn & Weir"))
    text = rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S1,radar")
    assert "hangs at LT-101D since 2020-01-01" in reasons(send(text, by=planner))[0][2]


def test_another_transmitter_at_the_point_is_a_swap_not_an_import(tank, planner):
    an_installation(a_point("LT-101A"), a_transmitter("S1"))
    text = rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S2,radar")
    assert "S1 hangs at this point" in reasons(send(text, by=planner))[0][2]


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


def test_without_a_maker_the_one_that_hangs_at_the_tag_is_meant(tank, planner):
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


# ---- between checking and applying ----
def test_what_changed_since_the_check_is_found_when_it_is_applied(tank, planner):
    batch = send(rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S1,radar"), by=planner)
    an_installation(a_point("LT-101D"), a_transmitter("S1", maker=""))
    imports.ask_to_apply(batch, by=planner)
    batch = run_now(batch, at=NOON)
    assert batch.state == "refused"
    assert "hangs at LT-101D" in reasons(batch)[0][2]
    assert not MeasuringPoint.objects.filter(tag="LT-101A").exists()


def test_a_file_altered_on_the_server_is_not_applied(tank, planner):
    batch = send(FULL, by=planner)
    imports.path_of(batch).write_text(FULL.replace("11.4", "11.5"))
    imports.ask_to_apply(batch, by=planner)
    assert "not the one that was sent" in reasons(run_now(batch, at=NOON))[0][2]
    assert book() == [[], [], []]


def test_a_workbook_is_unpacked_once_and_again_only_where_its_copy_was_touched(
    tank, planner, uploads, monkeypatch
):
    book_of = a_workbook(
        [HEADER.split(","), ["LT-101A", "T-101", 0.3, 8.3, 1], [7, "T-101", 0.3, 8.3, 1]]
    )
    unpacked = []
    real = files._read_workbook
    monkeypatch.setattr(files, "_read_workbook", lambda path: unpacked.append(path) or real(path))
    applied(book_of, by=planner, name="points.xlsx")
    assert len(unpacked) == 1
    MeasuringPoint.objects.all()._raw_delete("default")
    batch = send(book_of, by=planner, name="points.xlsx")
    next(uploads.glob("*.unpacked.csv")).write_text("tag\nLT-666\n")
    imports.ask_to_apply(batch, by=planner)
    batch = run_now(batch, at=NOON)
    assert set(MeasuringPoint.objects.values_list("tag", flat=True)) == {"LT-101A", "7"}
    assert batch.report["warnings"][0][:3] == [3, "tag", "7"]


def test_an_import_left_by_a_killed_worker_is_taken_up_after_its_lease(tank, planner):
    batch = send(FULL, by=planner)
    imports.ask_to_apply(batch, by=planner)
    imports.claim(at=NOON)  # a worker takes it and is never heard of again
    assert all_imports.run_waiting(clock=lambda: NOON) == 0
    assert all_imports.run_waiting(clock=lambda: NOON + imports.LEASE) == 1
    assert ImportBatch.objects.get().state == "applied"
    assert MeasuringPoint.objects.count() == 2


def test_an_error_of_ours_refuses_the_file_and_holds_up_no_other(tank, planner, monkeypatch):
    batch = send(FULL, by=planner)
    imports.ask_to_apply(batch, by=planner)

    def broken(*args):
        raise ZeroDivisionError

    monkeypatch.setattr("plant.importing.register._compare", broken)
    assert "Spanbook failed" in reasons(run_now(batch, at=NOON))[0][2]


def test_only_a_planner_imports(tank, technician, planner):
    with pytest.raises(Refused, match="Only a planner"):
        imports.receive(
            [b"x"], file_name="x.csv", kind="register", site=tank.site, by=technician, at=NOON
        )


def test_a_tank_of_another_site_is_unknown_here(site, planner, outsider):
    a_tank("T-301", site=outsider.appointments.first().site)
    assert (
        "no tank of this site"
        in reasons(send(rows(HEADER, "LT-301A,T-301,0.3,8.3,1"), by=planner))[0][2]
    )


def test_a_worker_that_lives_long_takes_one_file_after_another(tank, planner):
    """Statements on temporary tables must not be prepared: the tables of the next file are others."""
    applied(FULL, by=planner)
    for number in range(8):
        text = FULL.replace("11.4,4-20mA", f"1{number}.4,4-20mA".replace("12", "11"))
        assert not any("failed" in reason for _, _, reason in reasons(send(text, by=planner)))
        batch = send(rows(HEADER, f"LT-10{number},T-101,0.3,8.3,1"), by=planner)
        imports.ask_to_apply(batch, by=planner)
        assert run_now(batch, at=NOON).state == "applied"


ASKED = {
    # in the register's rules, its columns' bounds, or the shape of what it writes
    "tag_unique_in_its_site", "point_and_site", "range_values_differ", "tolerance_above_zero",
    "adjust_limit_within_tolerance", "unit_fits_the_quantity", "volume_tolerance_not_in_mm",
    "tolerance_in_ma_needs_a_current", "interval_between_1_and_120_months", "grace_below_half_the_interval",
    "deferred_beyond_the_due_date", "anchor_has_day_and_months_or_neither", "out_of_service_has_a_reason",
    "serial_unique_per_maker_and_site", "transmitter_and_site", "probe_data_above_zero", "principle_is_known",
}  # fmt: skip


def test_every_rule_of_the_book_is_asked_before_a_file_is_applied():
    """A rule that is new here also needs its check in plant.importing: only that names row and column."""
    rules = {c.name for model in (MeasuringPoint, Transmitter) for c in model._meta.constraints}
    assert rules == ASKED


def test_a_grace_beyond_half_the_interval_is_refused(tank, planner):
    text = rows(HEADER + ",interval (months),grace (days)", "LT-101A,T-101,0.3,8.3,1,2,31")
    assert reasons(send(text, by=planner)) == [
        (2, "grace (days)", "must be at most half the interval: 30 days for 2 months")
    ]


def test_what_only_the_database_refuses_is_told_in_its_rules_words(tank, planner, monkeypatch):
    batch = send(
        rows(HEADER + ",interval (months),grace (days)", "LT-101A,T-101,0.3,8.3,1,2,30"), by=planner
    )
    imports.ask_to_apply(batch, by=planner)
    imports.path_of(batch).write_text(
        rows(HEADER + ",interval (months),grace (days)", "LT-101A,T-101,0.3,8.3,1,2,31")
    )
    ImportBatch.objects.update(
        sha256=hashlib.sha256(imports.path_of(batch).read_bytes()).hexdigest()
    )
    monkeypatch.setattr(sql, "BROKEN_RULES", "SELECT 1, '', '' WHERE false")
    assert "at most half the interval" in reasons(run_now(batch, at=NOON))[0][2]
    assert book() == [[], [], []]


def test_a_planner_who_is_one_no_more_applies_nothing(tank, planner):
    batch = send(FULL, by=planner)
    imports.ask_to_apply(batch, by=planner)
    planner.appointments.update(ends_on=LONG_AGO)
    assert "Only a planner" in reasons(run_now(batch, at=NOON))[0][2]
    assert book() == [[], [], []]


def test_a_spare_of_the_book_comes_into_service_at_a_new_point(tank, planner):
    spare = a_transmitter("S1", maker="Tarn & Weir", status="spare")
    text = rows(HEADER + ",serial,maker", "LT-101A,T-101,0.3,8.3,1,S1,Tarn & Weir")
    assert applied(text, by=planner).rows_new == 1
    spare.refresh_from_db()
    assert (spare.status, Transmitter.objects.count()) == ("in service", 1)
    assert Installation.objects.get().transmitter == spare
