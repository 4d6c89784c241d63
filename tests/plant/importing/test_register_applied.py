"""The register's file between its check and its being applied: what changed, who may, what is taken
up again.
"""

from __future__ import annotations

import hashlib

import pytest

from calibration.importing import kinds as all_imports
from calibration.importing.kinds import run_now
from plant.importing import acts as imports
from plant.importing import files
from plant.importing import register_sql as sql
from plant.importing.models import ImportBatch
from plant.people.refusals import RoleMissing
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation, Transmitter
from tests.files import a_workbook, applied, reasons, send
from tests.makers import (
    LONG_AGO,
    NOON,
    a_point,
    a_tank,
    a_transmitter,
    an_installation,
)
from tests.plant.importing.register_rows import FULL, HEADER, book, rows

pytestmark = pytest.mark.django_db


def test_what_changed_since_the_check_is_found_when_it_is_applied(tank, planner):
    batch = send(rows(HEADER + ",serial,principle", "LT-101A,T-101,0.3,8.3,1,S1,radar"), by=planner)
    an_installation(a_point("LT-101D"), a_transmitter("S1", maker=""))
    imports.ask_to_apply(batch, by=planner)
    batch = run_now(batch, at=NOON)
    assert batch.state == "refused"
    assert "has been installed at LT-101D" in reasons(batch)[0][2]
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
    with pytest.raises(RoleMissing):
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
    """Statements on temporary tables must not be prepared: the tables of the next file are
    others.
    """
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
    "tolerance_downward_above_zero", "one_sided_tolerance_has_one_limit",
    "tolerance_in_ma_needs_a_current", "interval_between_1_and_120_months", "grace_below_half_the_interval",
    "deferred_beyond_the_due_date", "anchor_has_day_and_months_or_neither", "out_of_service_has_a_reason",
    "serial_unique_per_maker_and_site", "transmitter_and_site", "probe_data_above_zero", "principle_is_known",
}  # fmt: skip


def test_every_rule_of_the_book_is_asked_before_a_file_is_applied():
    """A rule that is new here also needs its check in plant.importing: only that names row and
    column.
    """
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
