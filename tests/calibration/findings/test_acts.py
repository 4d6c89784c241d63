"""Which records open a finding, and since when the readings are in doubt."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest

from calibration.approval import acts as approval_acts
from calibration.findings import acts as findings
from calibration.findings.models import Finding
from calibration.findings.refusals import AlreadyClosed, NotAssessed, NoText, OwnAssessment
from calibration.records import acts as records
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from tests.makers import (
    NOON,
    TODAY,
    a_person,
    a_sent_record,
    an_approved_record,
    an_equipped_point,
)
from tests.races import outcomes

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

OUT, WITHIN = [1.5] + [0.1] * 8, [0.1] * 9


@pytest.fixture
def approved(technician, approver):
    """Stores an approved record of LT-101A, done so many days ago."""
    point = an_equipped_point()

    def record(days_ago: int, **sent):
        done_on = TODAY - dt.timedelta(days_ago)
        return an_approved_record(
            point, by=technician, approved_by=approver, done_on=done_on, **sent
        )

    return record


def test_readings_are_in_doubt_since_the_last_record_left_in_tolerance(approved):
    good = approved(200)
    approved(100, found=OUT, left=OUT)
    last = approved(10, found=OUT, left=WITHIN)
    finding = Finding.objects.get(record=last)
    assert finding.doubtful_from == good.done_on
    assert finding.doubtful_until == last.done_on


def test_the_latest_of_two_good_records_ends_the_doubt(approved):
    approved(200)
    later = approved(100)
    last = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=last).doubtful_from == later.done_on


def test_a_record_that_was_adjusted_within_tolerance_ends_the_doubt(approved):
    adjusted = approved(100, found=OUT, left=WITHIN)
    last = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=last).doubtful_from == adjusted.done_on


def test_without_a_good_record_before_it_the_doubt_has_no_beginning(approved):
    only = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=only).doubtful_from is None


def test_a_record_of_the_same_day_does_not_end_the_doubt(approved):
    good = approved(200)
    approved(10)
    last = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=last).doubtful_from == good.done_on


def test_a_good_record_done_later_does_not_end_the_doubt(approved):
    approved(5)
    earlier = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=earlier).doubtful_from is None


def test_a_record_found_within_tolerance_opens_no_finding(approved):
    approved(10, found=WITHIN)
    assert not Finding.objects.exists()


def test_another_points_good_record_does_not_end_the_doubt(approved, technician, approver):
    other = an_equipped_point("LT-102A")
    an_approved_record(other, by=technician, approved_by=approver, done_on=TODAY - dt.timedelta(50))
    last = approved(10, found=OUT, left=WITHIN)
    assert Finding.objects.get(record=last).doubtful_from is None


def amended(record, *, by, approved_by, **sent):
    amendment = records.amend(
        record, a_sent_record(done_on=record.done_on, **sent), reason="slip of the pen",
        submission=uuid.uuid4(), by=by, at=NOON,
    ).record  # fmt: skip
    return approval_acts.approve(
        amendment, content_sha256=amendment.content_sha256, by=approved_by, at=NOON
    )


def test_an_amendment_of_a_record_with_a_finding_opens_no_second_one(
    approved, technician, approver
):
    record = approved(10, found=OUT, left=WITHIN)
    amended(record, by=technician, approved_by=approver, found=[1.6] + [0.1] * 8, left=WITHIN)
    assert Finding.objects.get().record == record


def test_an_amendment_that_is_out_of_tolerance_for_the_first_time_opens_one(
    approved, technician, approver
):
    approved(90, found=OUT, left=WITHIN)
    record = approved(10, found=WITHIN)
    amendment = amended(record, by=technician, approved_by=approver, found=OUT, left=WITHIN)
    assert Finding.objects.filter(record=amendment).exists()


def test_the_assessment_and_the_second_word_stand_in_the_ledger(approved, approver, planner):
    approved(10, found=OUT, left=WITHIN)
    finding = findings.assess(
        Finding.objects.get(), text="  No transfer was billed on it. ", by=approver, at=NOON
    )
    assert (finding.assessment, finding.assessed_at) == ("No transfer was billed on it.", NOON)
    finding = findings.agree(finding, by=planner, at=NOON)
    assert (finding.agreed_by, finding.closed_at) == (planner, NOON)
    finding.refresh_from_db()
    assert (finding.agreed_by, finding.closed_at) == (planner, NOON)
    assert list(
        LedgerEntry.objects.filter(act__contains="finding")
        .order_by("pk")
        .values_list("act", "person")
    ) == [("assess finding", approver.pk), ("close finding", planner.pk)]


def test_the_assessor_does_not_agree_with_themselves(approved, approver):
    approved(10, found=OUT, left=WITHIN)
    finding = findings.assess(Finding.objects.get(), text="None was sold.", by=approver, at=NOON)
    with pytest.raises(OwnAssessment):
        findings.agree(finding, by=approver, at=NOON)


# ---- refused ----
def test_an_assessment_needs_its_text(approved, approver):
    approved(10, found=OUT, left=WITHIN)
    with pytest.raises(NoText) as refusal:
        findings.assess(Finding.objects.get(), text=" ", by=approver, at=NOON)
    assert refusal.value.field == "text"
    assert Finding.objects.get().assessed_by is None


def test_nobody_agrees_before_it_is_assessed(approved, planner):
    approved(10, found=OUT, left=WITHIN)
    with pytest.raises(NotAssessed):
        findings.agree(Finding.objects.get(), by=planner, at=NOON)


def test_a_closed_finding_is_neither_assessed_nor_closed_again(approved, approver, planner):
    approved(10, found=OUT, left=WITHIN)
    finding = findings.assess(Finding.objects.get(), text="None sold.", by=approver, at=NOON)
    findings.agree(finding, by=planner, at=NOON)
    for act in (
        lambda: findings.assess(finding, text="Some sold.", by=approver, at=NOON),
        lambda: findings.agree(finding, by=planner, at=NOON),
    ):
        with pytest.raises(AlreadyClosed, match="of LT-101A was closed on 2026-11-02"):
            act()
    finding.refresh_from_db()
    assert finding.assessment == "None sold."


def test_only_a_technician_s_word_closes_nothing(approved, approver, technician):
    approved(10, found=OUT, left=WITHIN)
    finding = findings.assess(Finding.objects.get(), text="None sold.", by=approver, at=NOON)
    with pytest.raises(NotAllowed):
        findings.agree(finding, by=technician, at=NOON)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_close_at_once_one_is_told_it_is_closed(approved, approver, planner):
    second = a_person("second", "planner")
    approved(10, found=OUT, left=WITHIN)
    finding = findings.assess(Finding.objects.get(), text="None sold.", by=approver, at=NOON)
    outcome = outcomes(
        lambda: findings.agree(finding, by=planner, at=NOON),
        lambda: findings.agree(finding, by=second, at=NOON),
    )
    assert outcome[1] == "done"
    assert "was closed on" in outcome[0]
    assert LedgerEntry.objects.filter(act="close finding").count() == 1
