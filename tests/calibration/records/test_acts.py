"""Records: what a submission stores and refuses, and what an approval moves."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection

from calibration.approval import acts as approval_acts
from calibration.approval.refusals import AlreadyDecided, NotAsShown, OwnWork
from calibration.drift.models import Trend
from calibration.findings.models import Finding
from calibration.intervals.due_dates import reschedule
from calibration.jobs.models import Job
from calibration.records import acts as records
from calibration.records.entry import AdjustmentEntry, ReadingEntry
from calibration.records.models import Calibration, Reading, StandardUse
from calibration.records.refusals import (
    AlreadyAmended,
    DayInFuture,
    NoStandard,
    NothingInstalled,
    NoValidCertificate,
    ReadingsMissing,
    StandardOfAnotherSite,
    StandardOutOfRange,
    StoredWithOtherEntries,
)
from calibration.standards import acts as standards
from plant.ledger.models import LedgerEntry, RowHistory
from plant.points.models import MeasuringPoint
from plant.refusals import NotAllowed
from tests.makers import (
    LONG_AGO,
    NOON,
    TODAY,
    a_certificate,
    a_certified_standard,
    a_job,
    a_record,
    a_run,
    a_sent_record,
    a_standard,
    an_approved_record,
    an_equipped_point,
)
from tests.races import at_once

pytestmark = pytest.mark.django_db

TOMORROW = TODAY + dt.timedelta(days=1)


def submit(job, sent, technician, *, submission=None):
    return records.submit(job, sent, submission=submission or uuid.uuid4(), by=technician, at=NOON)


def test_a_submission_stores_every_digit_and_computes_expected_error_and_verdict(technician):
    sent = a_sent_record(found=[-0.25, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1])
    record = submit(a_job(by=technician), sent, technician).record
    first = record.readings.get(stage="as found", sequence=1)
    assert (first.observed, first.expected) == (Decimal("3.96"), Decimal("4.0"))
    assert first.error_percent == pytest.approx(-0.25)
    assert (first.verdict, first.band) == ("pass", "under range")
    assert record.found_largest == pytest.approx(-0.25)
    assert record.found_verdict == "pass"


def test_without_an_adjustment_as_left_is_as_found(technician):
    record = a_record(by=technician, found=[0.2] * 9)
    assert record.left_errors == record.found_errors
    assert (record.left_verdict, record.adjusted) == ("pass", False)


def test_a_submission_sent_again_stores_nothing_and_gets_the_same_receipt(technician):
    job, sent, submission = a_job(by=technician), a_sent_record(), uuid.uuid4()
    first = submit(job, sent, technician, submission=submission)
    again = submit(job, sent, technician, submission=submission)
    assert (first.is_new, again.is_new) == (True, False)
    assert first == again
    assert Calibration.objects.count() == 1


def test_the_same_submission_with_other_readings_is_refused(technician):
    job, sent, submission = a_job(by=technician), a_sent_record(), uuid.uuid4()
    stored = submit(job, sent, technician, submission=submission).record
    with pytest.raises(StoredWithOtherEntries) as refusal:
        submit(job, replace(sent, note="later thought"), technician, submission=submission)
    assert refusal.value.record == stored


@pytest.mark.django_db(transaction=True)
def test_two_sends_at_once_of_one_submission_store_one_record(technician):
    job, sent, submission = a_job(by=technician), a_sent_record(), uuid.uuid4()
    receipts = at_once(*[lambda: submit(job, sent, technician, submission=submission)] * 2)
    assert sorted(r.is_new for r in receipts) == [False, True]
    assert Calibration.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "refusal", "parts"),
    [
        ({"done_on": TOMORROW}, DayInFuture, {"day": TOMORROW, "field": "done_on"}),
        (
            {"done_on": dt.date(2019, 6, 1)},
            NothingInstalled,
            {"tag": "LT-101A", "day": dt.date(2019, 6, 1), "field": "done_on"},
        ),
        ({"standards": []}, NoStandard, {"field": "standards"}),
        (
            {"readings": a_run([0.1] * 9)},
            ReadingsMissing,
            {"stage": "as it stands", "field": "as_it_stands"},
        ),
        (
            {"readings": a_run([0.1], "as it stands")},
            ReadingsMissing,
            {"stage": "as found", "field": "no_as_found_reason"},
        ),
        (
            {"adjustments": [AdjustmentEntry("zero")]},
            ReadingsMissing,
            {"stage": "as left", "field": "as_left"},
        ),
        (
            {"readings": [], "no_as_found_reason": "the probe is broken"},
            ReadingsMissing,
            {"stage": "", "field": "as_left"},
        ),
    ],
)
def test_an_incomplete_submission_is_refused_with_what_to_do(technician, changed, refusal, parts):
    job = a_job(by=technician)
    with pytest.raises(refusal) as refused:
        submit(job, replace(a_sent_record(), **changed), technician)
    assert {name: getattr(refused.value, name) for name in parts} == parts
    assert not Calibration.objects.exists()
    job.refresh_from_db()
    assert job.state == Job.State.IN_HAND


def test_a_lapsed_standard_is_refused_by_name(technician):
    lapsed = a_certified_standard("MM-07")
    lapsed.certificates.update(valid_until=TODAY - dt.timedelta(days=20))
    with pytest.raises(NoValidCertificate) as refusal:
        submit(a_job(by=technician), a_sent_record(standards=[lapsed]), technician)
    assert (refusal.value.standard, refusal.value.day) == (lapsed, TODAY)


def test_the_database_itself_refuses_a_use_that_no_certificate_covers(technician):
    record = a_record(by=technician)
    other = a_certified_standard("MM-07")
    certificate = other.certificates.get()
    other.certificates.update(valid_until=TODAY - dt.timedelta(days=1))
    with pytest.raises(IntegrityError, match="MM-07 on"):
        StandardUse.objects.create(record=record, standard=other, certificate=certificate)


def test_a_withdrawn_certificate_covers_nothing_from_that_day(technician, approver):
    standard = a_certified_standard("MM-07")
    standards.withdraw_certificate(
        standard.certificates.get(), on=TODAY, why="failed its check", by=approver
    )
    with pytest.raises(NoValidCertificate) as refusal:
        submit(a_job(by=technician), a_sent_record(standards=[standard]), technician)
    assert refusal.value.standard == standard


def test_currents_in_a_failure_band_are_kept_as_evidence_and_stay_out_of_the_figures(technician):
    readings = [*a_run([0.1], "as it stands"), *a_run([0.1] * 9)]
    readings[5] = replace(readings[5], observed=Decimal("21.5"))
    record = submit(a_job(by=technician), a_sent_record(readings=readings), technician).record
    failed = record.readings.get(observed=Decimal("21.5"))
    assert (failed.band, failed.verdict) == ("failure high", "fail")
    assert record.shows_failure
    assert record.found_verdict == "fail"
    assert record.found_largest == pytest.approx(0.1)


def test_an_indication_decides_where_one_was_read(technician):
    point = an_equipped_point("LT-103A", tolerance=Decimal(4), tolerance_unit="mm", adjust_limit=2)
    standing, *found = a_sent_record().readings
    by_display = [replace(r, indication=r.applied + Decimal("0.0068")) for r in found]
    record = submit(
        a_job(point, by=technician), a_sent_record(readings=[standing, *by_display]), technician
    ).record
    assert record.found_largest == pytest.approx(100 * 0.0068 / 8)
    assert record.found_verdict == "fail"


def test_an_approval_moves_due_date_job_and_trend_and_writes_one_entry(technician, approver):
    record = a_record(by=technician)
    before = LedgerEntry.objects.count()
    approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=NOON)
    point = MeasuringPoint.objects.get(pk=record.point_id)
    assert point.due_on == dt.date(2027, 11, 2)
    assert Job.objects.get(pk=record.job_id).state == Job.State.APPROVED
    assert Trend.objects.get(point=point).results == 1
    assert LedgerEntry.objects.count() == before + 1
    assert LedgerEntry.objects.first().act == "approve record"


def test_approver_cannot_approve_own_work(technician, approver):
    approver.appointments.create(
        site=approver.appointments.get().site, role="technician", starts_on=LONG_AGO
    )
    record = a_record(by=approver)
    with pytest.raises(OwnWork):
        approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=NOON)
    with pytest.raises(IntegrityError, match="nobody_approves_their_own_work"):
        Calibration.objects.filter(pk=record.pk).update(
            state="approved", approved_by=approver, approved_by_name="x", approved_at=NOON
        )


def test_a_technician_cannot_approve(technician, second_technician):
    record = a_record(by=technician)
    with pytest.raises(NotAllowed):
        approval_acts.approve(
            record, content_sha256=record.content_sha256, by=second_technician, at=NOON
        )


def test_an_approval_of_something_not_shown_is_refused(technician, approver):
    record = a_record(by=technician)
    with pytest.raises(NotAsShown):
        approval_acts.approve(record, content_sha256="0" * 64, by=approver, at=NOON)


def test_an_approved_record_is_approved_once(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    with pytest.raises(AlreadyDecided):
        approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=NOON)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE calibration_calibration SET note = 'nicer'",
        "UPDATE calibration_calibration SET state = 'submitted', approved_at = NULL",
        "DELETE FROM calibration_calibration",
        "UPDATE calibration_reading SET observed = 12",
        "DELETE FROM calibration_reading",
        "DELETE FROM calibration_standarduse",
    ],
)
def test_an_approved_record_resists_plain_sql(technician, approver, statement):
    an_approved_record(by=technician, approved_by=approver)
    with pytest.raises(IntegrityError), connection.cursor() as cursor:
        cursor.execute(statement)


def test_what_was_sent_never_changes_even_before_approval(technician):
    record = a_record(by=technician)
    with pytest.raises(IntegrityError, match="stays as it was sent"):
        Calibration.objects.filter(pk=record.pk).update(found_largest=0)


def test_row_history_keeps_what_was_sent_and_not_what_the_database_packs_of_it(
    technician, approver
):
    record = an_approved_record(by=technician, approved_by=approver)
    kept = RowHistory.objects.get(table_name="calibration_calibration", row_id=record.pk)
    assert kept.before["state"] == "submitted"
    assert "drift_row" not in kept.before


@pytest.mark.django_db(transaction=True)
def test_nothing_is_added_to_a_record_later(technician):
    record = a_record(by=technician)
    with pytest.raises(IntegrityError, match="nothing is added"):
        Reading.objects.create(
            record=record,
            stage="as left",
            sequence=99,
            applied=1,
            expected=4,
            observed=4,
            error_percent=0,
            verdict="pass",
        )


def test_a_returned_record_frees_its_job_for_a_new_one(technician, approver):
    record = a_record(by=technician)
    approval_acts.send_back(record, reason="the 50 % reading is a slip", by=approver, at=NOON)
    job = Job.objects.get(pk=record.job_id)
    assert job.state == Job.State.RETURNED
    again = submit(job, a_sent_record(), technician).record
    assert again.state == "submitted"
    assert Calibration.objects.get(pk=record.pk).state == "returned"


def test_an_amendment_replaces_the_record_only_once_approved(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver, done_on=dt.date(2026, 10, 1))
    amended = records.amend(
        record,
        a_sent_record(done_on=dt.date(2026, 9, 1)),
        reason="wrong day typed",
        submission=uuid.uuid4(),
        by=technician,
        at=NOON,
    ).record
    assert list(Calibration.objects.standing()) == [record]
    approval_acts.approve(amended, content_sha256=amended.content_sha256, by=approver, at=NOON)
    assert list(Calibration.objects.standing()) == [amended]
    assert MeasuringPoint.objects.get(pk=record.point_id).due_on == dt.date(2027, 9, 1)


def test_an_amendment_is_judged_by_the_range_of_its_day(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    MeasuringPoint.objects.filter(pk=record.point_id).update(upper=Decimal("4.3"), tolerance=2)
    amended = records.amend(
        record, a_sent_record(), reason="slip", submission=uuid.uuid4(), by=technician, at=NOON
    ).record
    assert (amended.upper, amended.tolerance) == (record.upper, record.tolerance)
    assert amended.found_largest == pytest.approx(record.found_largest)


def test_a_record_has_one_amendment_at_a_time(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    sent = a_sent_record()
    facts = {"reason": "slip", "by": technician, "at": NOON}
    first = records.amend(record, sent, submission=uuid.uuid4(), **facts).record
    with pytest.raises(AlreadyAmended) as refusal:
        records.amend(record, sent, submission=uuid.uuid4(), **facts)
    assert refusal.value.amendment == first


def test_as_found_out_of_tolerance_opens_a_finding_since_the_last_good_record(technician, approver):
    point = an_equipped_point()
    both = {"by": technician, "approved_by": approver}
    an_approved_record(point, **both, done_on=dt.date(2026, 2, 1))
    bad = an_approved_record(point, **both, found=[1.4] * 9, left=[0.1] * 9)
    finding = Finding.objects.get()
    assert (finding.record, finding.doubtful_from) == (bad, dt.date(2026, 2, 1))
    assert finding.largest_percent == pytest.approx(1.4)


def test_a_late_entry_of_an_older_day_does_not_pull_the_due_date_back(technician, approver):
    point = an_equipped_point()
    both = {"by": technician, "approved_by": approver}
    an_approved_record(point, **both, done_on=TODAY)
    an_approved_record(point, **both, done_on=dt.date(2026, 3, 1))
    assert MeasuringPoint.objects.get(pk=point.pk).due_on == dt.date(2027, 11, 2)


def test_the_stored_due_date_is_the_recomputed_one(technician, approver):
    point = an_equipped_point(interval_months=6, grace_days=10)
    for day in (dt.date(2026, 1, 31), dt.date(2026, 8, 5)):
        an_approved_record(point, by=technician, approved_by=approver, done_on=day)
    assert MeasuringPoint.objects.get(pk=point.pk).due_on == dt.date(
        2027, 1, 31
    )  # the anchor survives
    assert reschedule([point.pk]) == 0


def test_an_approval_ends_a_deferral(technician, approver):
    point = an_equipped_point(due_on=dt.date(2026, 10, 1), deferred_until=dt.date(2026, 12, 1))
    an_approved_record(point, by=technician, approved_by=approver)
    assert MeasuringPoint.objects.get(pk=point.pk).deferred_until is None


def test_a_reverse_acting_point_expects_4_ma_at_the_higher_level(technician):
    point = an_equipped_point("LT-121A", lower=Decimal("8.3"), upper=Decimal("0.3"))
    full = ReadingEntry(
        stage="as found", sequence=1, applied=Decimal("8.3"), observed=Decimal("4.02")
    )
    standing = replace(full, stage="as it stands")
    record = submit(
        a_job(point, by=technician), a_sent_record(readings=[standing, full]), technician
    ).record
    assert record.found_at_zero == pytest.approx(0.125)


def test_a_standard_of_another_site_is_refused(technician, outsider):
    foreign = a_standard("MM-31", site=outsider.appointments.first().site)
    with pytest.raises(StandardOfAnotherSite) as refusal:
        submit(a_job(by=technician), a_sent_record(standards=[foreign]), technician)
    assert refusal.value.standard == foreign


@pytest.mark.parametrize(
    ("unit", "low", "high", "fits"),
    [
        ("mA", 0, 24, True),
        ("mA", 0, 16, False),
        ("V", 1, 5, True),
        ("V", 0, "4.9", False),
    ],
)
def test_a_meter_certified_for_less_than_the_output_is_refused(unit, low, high, fits, technician):
    """4 to 20 mA, or 1 to 5 V over the loop resistor."""
    meter = a_standard("MM-12")
    a_certificate(meter, unit=unit, range_low=low, range_high=high)
    sent, job = a_sent_record(standards=[meter]), a_job(by=technician)
    if fits:
        assert submit(job, sent, technician).record.pk
        return
    with pytest.raises(StandardOutOfRange) as refusal:
        submit(job, sent, technician)
    assert refusal.value.standard == meter
    assert refusal.value.why.startswith("Out of range: certified for")
