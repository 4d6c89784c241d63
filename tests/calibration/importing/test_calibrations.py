"""Past calibrations from a file: judged as if typed in, kept as approved records, never doubled."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration.drift.models import Trend
from calibration.findings.models import Finding
from calibration.metrology.histories import histories
from calibration.metrology.wander import default_prior, outlook
from calibration.records import acts as records
from calibration.records.models import Calibration, StandardUse
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation
from tests.files import applied, reasons, send
from tests.makers import (
    NOON,
    a_certificate,
    a_job,
    a_point,
    a_procedure,
    a_run,
    a_sent_record,
    a_standard,
    a_transmitter,
    an_installation,
)

pytestmark = pytest.mark.django_db

HEADER = (
    "record,tag,serial,day,performed by,approved by,way,standards,adjusted,stage,direction,applied "
    "(m),observed (mA),no as found because"
)
DAY = dt.date(2026, 3, 2)


@pytest.fixture
def point(site):
    point = a_point("LT-101A", lower=Decimal("0.3"), upper=Decimal("8.3"))
    an_installation(point, a_transmitter("S1"))
    a_certificate(a_standard("MM-01"))
    return point


def a_file(
    *readings: tuple, key="A1", day=DAY, serial="S1", adjusted="", why="", standards="MM-01"
) -> str:
    """One record: readings are (stage, direction, applied, observed)."""
    values = (
        f"{key},LT-101A,{serial},{day},T. Quillane,S. Fenharrow,wetted level by "
        f"dip,{standards},{adjusted}"
    )
    return (
        "\n".join(
            f"{values},{stage},{way},{applied},{observed},{why}"
            for stage, way, applied, observed in readings
        )
        + "\n"
    )


FOUND = [("as found", "up", "0.3", "4.02"), ("as found", "up", "4.3", "12.1"), ("as found", "up", "8.3", "20.2"),
         ("as found", "down", "4.3", "12.14")]  # fmt: skip
LEFT = [("as left", "up", "0.3", "4.00"), ("as left", "up", "8.3", "20.01")]


def of(*records_as_text: str) -> str:
    return "\n".join([HEADER, *(text.strip() for text in records_as_text), ""])


def test_a_record_comes_in_judged_and_approved(point, planner, technician, approver):
    batch = applied(
        of(a_file(*FOUND, *LEFT, adjusted="zero; span")), by=planner, kind="calibrations"
    )
    assert batch.rows_new == 1
    record = Calibration.objects.get()
    assert (record.state, record.source, record.found_verdict, record.left_verdict) == (
        "approved", "imported", "fail", "pass",
    )  # fmt: skip
    assert record.found_largest == pytest.approx(1.25)
    assert record.found_hysteresis == pytest.approx(0.25)
    assert (record.performed_by, record.approved_by) == (technician, approver)
    assert [a.kind for a in record.adjustments.all()] == ["zero", "span"]
    assert record.readings.filter(stage="as found", verdict="fail").count() == 1
    assert StandardUse.objects.get().certificate.standard.name == "MM-01"
    point.refresh_from_db()
    assert (point.due_on, point.anchor_on) == (dt.date(2027, 3, 2), DAY)
    assert LedgerEntry.objects.filter(act="import").count() == 1
    assert not Finding.objects.exists()


def test_an_import_judges_as_a_submission_does(point, planner, technician, approver):
    errors = [0.1, 0.4, 0.9, -1.2, 0.3, -1.1, 0.2, 0.1, -0.2]
    readings = [
        ("as found", "up" if r.rising else "down", r.applied, r.observed) for r in a_run(errors)
    ]
    applied(of(a_file(*readings, day=NOON.date())), by=planner, kind="calibrations")
    imported = Calibration.objects.get()
    typed = records.submit(
        a_job(point, by=technician), a_sent_record(found=errors), submission=planner_uuid(), by=technician, at=NOON
    ).record  # fmt: skip
    for name in (
        "found_errors", "found_largest", "found_at_zero", "found_at_span", "found_hysteresis", "found_verdict",
        "left_errors", "left_verdict", "tolerance_percent", "lower", "upper", "shows_failure", "tank_name",
    ):  # fmt: skip
        assert getattr(imported, name) == getattr(typed, name), name
    same = (
        "sequence",
        "rising",
        "applied",
        "expected",
        "observed",
        "error_percent",
        "band",
        "verdict",
    )
    both = [
        r.readings.filter(stage="as found").order_by("sequence").values_list(*same)
        for r in (imported, typed)
    ]
    assert list(both[0]) == list(both[1])


def planner_uuid():
    import uuid

    return uuid.UUID(int=7)


def test_the_same_file_again_changes_nothing_and_an_altered_one_is_refused(point, planner):
    text = of(a_file(*FOUND))
    applied(text, by=planner, kind="calibrations")
    again = send(text, by=planner, kind="calibrations")
    assert (again.rows_new, again.rows_changed, again.rows_same) == (0, 0, 1)
    problems = reasons(send(text.replace("12.14", "12.15"), by=planner, kind="calibrations"))
    assert problems == [(2, "record", "was imported before with other contents; an approved record never changes: "
                     "amend it on its page")]  # fmt: skip


def test_trends_and_due_dates_follow_the_history(point, planner):
    texts = [
        a_file(("as found", "up", "0.3", f"{4 + n * 0.016:.3f}"), ("as found", "up", "8.3", "20"), key=f"A{n}",
               day=dt.date(2026, n, 1))
        for n in range(2, 8)
    ]  # fmt: skip
    applied(of(*texts), by=planner, kind="calibrations")
    trend = Trend.objects.get()
    assert trend.results == 6
    # Five months of readings this uncertain leave most of the rate to what is believed beforehand.
    rows = list(Calibration.objects.order_by("done_on"))
    years = [(row.done_on - dt.date(2000, 1, 1)).days / 365.25 for row in rows]
    found = [row.found_at_zero for row in rows]
    u, shared = ([getattr(row, name) for row in rows] for name in ("u_zero", "u_zero_shared"))
    drift = histories(years, found, found, [False] * 6, u, shared)
    believed = outlook(drift, default_prior(rows[-1].tolerance_percent)).rate()
    assert trend.zero_rate == pytest.approx(believed.centre[0], rel=1e-9)
    assert all(row.budget["U"] > 0 and row.decision_rule == "simple acceptance" for row in rows)
    assert MeasuringPoint.objects.get().due_on == dt.date(2027, 7, 1)


def test_levels_in_another_unit_are_kept_in_that_of_the_range(point, planner):
    text = of(a_file(*FOUND)).replace("applied (m)", "applied (mm)")
    for metres in ("0.3", "4.3", "8.3"):
        text = text.replace(f",{metres},", f",{Decimal(metres) * 1000:.0f},")
    applied(text, by=planner, kind="calibrations")
    assert set(Calibration.objects.get().readings.values_list("applied", flat=True)) == {
        Decimal("0.3"), Decimal("4.3"), Decimal("8.3"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "column", "reason"),
    [
        (a_file(*FOUND, serial="S9"), "serial", "S1 was"),
        (a_file(*FOUND, day=dt.date(2019, 5, 1)), "serial", "none there that day"),
        (a_file(*FOUND, day=dt.date(2024, 5, 1)), "standards", "no certificate that covers 1 May " "2024"),
        (a_file(*FOUND, standards="MM-09"), "standards", "no reference standard"),
        (a_file(*FOUND, day=dt.date(2027, 5, 1)), "day", "future"),
        (a_file(*LEFT), "no as found because", "say why"),
        (a_file(*FOUND, adjusted="zero"), "adjusted", "as-left"),
        (a_file(*FOUND, adjusted="gain"), "adjusted", "output trim low, output trim high, zero, " "span or other"),
        (a_file(*FOUND).replace("LT-101A", "LT-1O1A"), "tag", "did you mean “LT-101A”"),
        (a_file(*FOUND).replace("S. Fenharrow", "T. quillane"), "approved by", "own work"),
        (a_file(("as found", "up", "0.3", "")), "observed (mA)", "is missing"),
        (a_file(*FOUND).replace("by dip", "by eye", 1), "way", "wetted level by gauge glass"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_row_and_column(text, column, reason, point, planner):
    problems = reasons(send(of(text), by=planner, kind="calibrations"))
    assert any(row >= 2 and where == column and reason in why for row, where, why in problems), (
        problems
    )
    assert not Calibration.objects.exists()


def test_a_standard_of_which_no_part_of_the_uncertainty_comes_is_refused(point, planner):
    a_certificate(a_standard("BT-01", kind="bond or insulation tester"))
    a_certificate(a_standard("MM-02"), absolute=Decimal(0))
    text = of(a_file(*FOUND, standards="MM-01; BT-01; MM-02"))
    problems = reasons(send(text, by=planner, kind="calibrations"))
    assert [(row, column) for row, column, _ in problems] == [(2, "standards")]
    assert "BT-01: Bond or insulation tester: not used for wetted level by dip." in problems[0][2]
    assert "states neither an accuracy nor U and k" in problems[0][2]
    assert not Calibration.objects.exists()


def test_a_tester_of_the_bond_is_named_where_the_procedure_asks_for_it(point, planner):
    a_certificate(a_standard("BT-01", kind="bond or insulation tester"))
    ask = {"name": "bond", "label": "Bond", "kind": "number", "unit": "Ω", "needed": True}
    a_procedure("cap-bonded", asks=[ask])
    lines = of(a_file(*FOUND, standards="MM-01; BT-01")).strip().split("\n")
    text = "\n".join([lines[0] + ",procedure", *(line + ",cap-bonded" for line in lines[1:])])
    applied(text, by=planner, kind="calibrations")
    names = StandardUse.objects.values_list("standard__name", flat=True)
    assert set(names) == {"MM-01", "BT-01"}
    assert Calibration.objects.get().budget["check_tools"] == ["BT-01"]


def test_rows_of_one_record_agree(point, planner):
    lines = of(a_file(*FOUND)).split("\n")
    lines[3] = lines[3].replace(str(DAY), "2026-03-03")
    problems = reasons(send("\n".join(lines), by=planner, kind="calibrations"))
    assert problems == [(4, "day", "differs from an earlier row of record A1 (2026-03-02)")]


def test_as_found_may_be_missing_with_its_reason(point, planner):
    applied(of(a_file(*LEFT, why="probe broken and replaced")), by=planner, kind="calibrations")
    record = Calibration.objects.get()
    assert (record.found_verdict, record.no_as_found_reason) == ("", "probe broken and replaced")


def test_a_reading_in_a_failure_band_is_a_failure_not_an_error(point, planner):
    text = of(a_file(*FOUND, ("as found", "up", "8.3", "3.5")))
    applied(text, by=planner, kind="calibrations")
    record = Calibration.objects.get()
    assert (record.shows_failure, record.found_verdict, len(record.found_errors)) == (
        True,
        "fail",
        4,
    )


def test_a_failure_as_it_stands_with_the_reason_is_a_failed_record(point, planner):
    good = [("as found", *reading[1:]) for reading in LEFT]
    standing = ("as it stands", "up", "4.3", "3.4")
    earlier = a_file(*good, key="A0", day=dt.date(2026, 2, 2))
    text = of(earlier, a_file(standing, why="dead; the head was changed"))
    applied(text, by=planner, kind="calibrations")
    record = Calibration.objects.get(done_on=DAY)
    assert (record.found_verdict, record.left_verdict, record.shows_failure) == (
        "fail", "fail", True,
    )  # fmt: skip
    assert (record.found_errors, record.found_largest) == ([], None)
    assert record.no_as_found_reason == "dead; the head was changed"
    point.refresh_from_db()
    assert point.due_on == dt.date(2027, 2, 2)
    assert point.status(NOON.date()).text == "in doubt"


@pytest.mark.parametrize(
    ("observed", "why", "column", "reason"),
    [
        ("3.7", "tank out of use", "stage", "as it stands it shows no failure; add them"),
        ("3.4", "", "no as found because", "say why, or add them"),
    ],
)
def test_a_reading_as_it_stands_alone_is_refused_unless_it_shows_a_failure(
    point, planner, observed, why, column, reason
):
    text = of(a_file(("as it stands", "up", "4.3", observed), why=why))
    [(row, where, said)] = reasons(send(text, by=planner, kind="calibrations"))
    assert (row, where) == (2, column)
    assert reason in said
    assert not Calibration.objects.exists()


NO_LEVEL = HEADER + ",level not known because"


def without_level(*rows: str, header: str = NO_LEVEL) -> str:
    facts = f"A1,LT-101A,S1,{DAY},T. Quillane,S. Fenharrow,wetted level by dip,MM-01,"
    return "\n".join([header, *(f"{facts},{row}" for row in rows)]) + "\n"


def test_a_failure_where_no_level_was_known_is_a_failed_record(point, planner):
    text = without_level("as it stands,up,,3.4,dead,storm")
    applied(text, by=planner, kind="calibrations")
    record = Calibration.objects.get()
    reading = record.readings.get()
    assert (reading.applied, reading.no_level_reason, reading.verdict) == (None, "storm", "fail")
    assert (record.found_verdict, record.left_verdict) == ("fail", "fail")
    assert reasons(send(text, by=planner, kind="calibrations")) == []
    assert Calibration.objects.count() == 1


def test_the_same_record_with_another_reason_is_refused(point, planner):
    applied(without_level("as it stands,up,,3.4,dead,storm"), by=planner, kind="calibrations")
    other = send(
        without_level("as it stands,up,,3.4,dead,no hatch"), by=planner, kind="calibrations"
    )
    [(_, column, said)] = reasons(other)
    assert column == "record"
    assert "imported before with other contents" in said


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        ("as it stands,up,4.3,3.4,dead,storm", "level not known because", "stands beside a level"),
        ("as found,up,,12.1,,storm", "level not known because", "will do only as it stands"),
        ("as it stands,up,,3.4,dead,", "applied (m)", "give the level, or as it stands the reason"),
        ("as it stands,up,,12.1,storm,storm", "stage", "as it stands it shows no failure"),
    ],
)
def test_a_reading_without_a_level_is_refused_where_it_says_nothing(
    point, planner, row, column, reason
):
    [(place, where, said)] = reasons(send(without_level(row), by=planner, kind="calibrations"))
    assert (place, where) == (2, column)
    assert reason in said
    assert not Calibration.objects.exists()


def test_a_record_of_the_day_of_a_swap_may_be_of_either(point, planner):
    Installation.objects.update(removed_on=DAY)
    an_installation(point, a_transmitter("S2"), DAY)
    old, new = a_file(*FOUND), a_file(*FOUND, key="A2", serial="S2")
    applied(of(old, new), by=planner, kind="calibrations")
    serials = Calibration.objects.values_list("transmitter__serial", flat=True)
    assert sorted(serials) == ["S1", "S2"]
