"""Readings as it stands where no level can be known, and transmitters found failed: judged, stored,
and said in plain words wherever the record is shown.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from django.urls import reverse

from calibration.approval import acts as approval_acts
from calibration.drift.results import points_of, results_of
from calibration.records import acts as records
from calibration.records.entry import ReadingWithoutLevel, content_hash
from calibration.records.failures import output_text
from calibration.records.models import Calibration
from calibration.records.refusals import ReadingsMissing
from plant.points.models import MeasuringPoint
from tests.calibration.filling import typed
from tests.folded import folded
from tests.makers import (
    NOON,
    TODAY,
    a_job,
    a_reading,
    a_record,
    a_run,
    a_sent_record,
    an_approved_record,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

STORM = "storm, no dip"
FOUND, LEFT = a_run([0.1] * 9), a_run([0.05] * 9, "as left")


def standing(observed: str | None, *, why: str = STORM, **more) -> ReadingWithoutLevel:
    output = None if observed is None else Decimal(observed)
    return ReadingWithoutLevel(1, output, more.pop("indication", None), why, **more)


@pytest.fixture
def people(technician, approver):
    return {"by": technician, "approved_by": approver}


@pytest.fixture
def dead(people):
    """Dead on the bench: no level, and no as found."""
    return an_approved_record(
        **people,
        readings=[],
        without_level=[standing("3.4", why="on the bench")],
        no_as_found_reason="it does not start",
    )


# ---- judging ----
def test_a_failure_is_one_at_any_level(dead):
    reading = dead.readings.get()
    assert (reading.band, reading.verdict) == ("failure low", "fail")
    assert (reading.applied, reading.expected, reading.error_percent) == (None, None, None)
    assert reading.no_level_reason == "on the bench"
    assert (dead.found_verdict, dead.left_verdict, dead.shows_failure) == ("fail", "fail", True)
    assert (dead.found_largest, dead.left_largest, dead.expanded_percent) == (None, None, None)


@pytest.mark.parametrize(
    "read",
    [standing("13.2"), standing("20.9"), standing(None, indication=Decimal("4.2"))],
    ids=["a current in the range", "a suspect current", "a display"],
)
def test_anything_else_without_a_level_is_stored_and_judged_by_nothing(technician, read):
    record = a_record(by=technician, readings=FOUND, without_level=[read])
    looked = record.readings.get(stage="as it stands")
    assert (looked.verdict, looked.error_percent, looked.expanded_percent) == (
        "not judged",
        None,
        None,
    )
    assert (record.found_verdict, record.shows_failure) == ("pass", False)
    known = a_record(an_equipped_point("LT-102A"), by=technician, readings=FOUND[:], **NOTHING)
    assert record.found_errors == known.found_errors
    assert record.budget["components"] == known.budget["components"]


NOTHING = {"no_as_found_reason": "as it stands was missed"}


def test_a_current_in_the_range_without_a_level_alone_is_no_record(technician):
    job = a_job(by=technician)
    sent = a_sent_record(readings=[], without_level=[standing("13.2")], no_as_found_reason=STORM)
    with pytest.raises(ReadingsMissing) as refused:
        records.submit(job, sent, submission=typed()["submission"], by=technician, at=NOON)
    assert refused.value.stage == ""
    assert "neither a failure nor an error" in str(refused.value)
    assert not Calibration.objects.exists()


def test_what_it_stood_at_counts_even_where_readings_pass_after(people):
    """It went dead, and came back when the head was opened: found failed, and nothing shows that
    it will stay.
    """
    point = an_equipped_point()
    an_approved_record(point, **people, done_on=TODAY - dt.timedelta(30))
    record = an_approved_record(point, **people, readings=FOUND, without_level=[standing("22.4")])
    assert (record.found_verdict, record.left_verdict, record.shows_failure) == (
        "fail", "fail", True,
    )  # fmt: skip
    assert record.found_largest == pytest.approx(0.1)
    assert record.finding.largest_percent is None
    assert status_of(record.point_id).text == "in doubt"


def test_a_dead_one_that_was_put_right_opens_a_finding_and_is_in_date(people):
    record = an_approved_record(
        **people,
        readings=[a_reading("4.3", "3.4", stage="as it stands"), *LEFT],
        adjustments=a_sent_record(left=[0.05] * 9).adjustments,
        no_as_found_reason="no output; the head was changed",
    )
    assert (record.found_verdict, record.left_verdict) == ("fail", "pass")
    assert record.finding.largest_percent is None
    assert status_of(record.point_id).text.startswith("in date")


def test_the_reason_is_part_of_what_is_signed(technician):
    sent = a_sent_record(readings=FOUND, without_level=[standing("13.2")])
    other = replace(sent, without_level=[standing("13.2", why="no hatch")])
    hashes = {content_hash(one, on="job 1", by=technician) for one in (sent, other)}
    assert len(hashes) == 2


@pytest.mark.parametrize(("observed", "why"), [(None, STORM), ("3.4", " ")])
def test_a_reading_without_level_has_an_output_and_a_reason(observed, why):
    with pytest.raises(ValueError, match="reading 1"):
        standing(observed, why=why)


# ---- an error beyond the tolerance where nothing more can be read ----
STUCK = {
    "readings": [a_reading("6.7", "12", stage="as it stands")],
    "no_as_found_reason": "storm: nobody may stay on the roof",
}


def test_a_stuck_output_at_a_known_level_is_found_out_where_no_more_can_be_read(people):
    point = an_equipped_point()
    an_approved_record(point, **people, done_on=TODAY - dt.timedelta(30))
    record = an_approved_record(point, **people, **STUCK)
    assert (record.found_verdict, record.left_verdict, record.shows_failure) == (
        "fail", "fail", False,
    )  # fmt: skip
    assert record.found_errors == [pytest.approx(-30)]
    assert record.found_largest == pytest.approx(-30)
    assert (record.found_at_zero, record.found_at_span, record.expanded_percent) == (
        None, None, None,
    )  # fmt: skip
    assert record.finding.largest_percent == pytest.approx(-30)
    assert status_of(point.pk).text == "in doubt"


def test_one_that_stood_out_and_was_put_right_opens_a_finding_too(people):
    record = an_approved_record(
        **people,
        **STUCK | {"readings": [*STUCK["readings"], *LEFT]},
        adjustments=a_sent_record(left=[0.05] * 9).adjustments,
    )
    assert (record.found_verdict, record.left_verdict) == ("fail", "pass")
    assert record.finding.largest_percent == pytest.approx(-30)


def test_where_as_found_was_read_it_decides_and_not_the_look(technician):
    record = a_record(by=technician, readings=[*STUCK["readings"], *FOUND])
    assert (record.found_verdict, record.found_largest) == ("pass", pytest.approx(0.1))


def test_a_look_inside_the_tolerance_alone_is_no_record(technician):
    sent = a_sent_record(
        readings=[a_reading("6.7", "16.84", stage="as it stands")], no_as_found_reason=STORM
    )
    job = a_job(by=technician)
    with pytest.raises(ReadingsMissing, match="neither a failure nor an error beyond"):
        records.submit(job, sent, submission=typed()["submission"], by=technician, at=NOON)


def test_pages_say_that_it_stood_out_of_tolerance(people, sign_in, technician, auditor):
    record = an_approved_record(**people, **STUCK)
    details = (
        "error \N{MINUS SIGN}30.00\xa0% of span; no as found possible: storm: nobody may stay on "
        "the roof."
    )
    page = folded(sign_in(technician).get(record.get_absolute_url()))
    assert f"</svg>Out of tolerance as it stood:</span> {details}" in page
    assert "As found is incomplete" not in page
    page = folded(sign_in(auditor).get(reverse("calibration:history", args=[record.point_id])))
    assert f"Out of tolerance as it stood: {details}" in page


# ---- in words ----
@pytest.mark.parametrize(
    ("observed", "band", "signal", "output"),
    [
        ("3.40000", "failure low", "4-20mA", "3.4\xa0mA, below 3.6\xa0mA"),
        ("3.6", "failure low", "4-20mA", "3.6\xa0mA, not above 3.6\xa0mA"),
        ("0", "failure low", "4-20mA", "0\xa0mA, below 3.6\xa0mA"),
        ("22.40", "failure high", "4-20mA", "22.4\xa0mA, above 21\xa0mA"),
        ("21", "failure high", "4-20mA", "21\xa0mA, not below 21\xa0mA"),
        ("0.85", "failure low", "1-5V", "0.85\xa0V, below 0.9\xa0V"),
    ],
)
def test_the_words_name_the_output_and_where_a_failure_begins(observed, band, signal, output):
    assert output_text(Decimal(observed), band, signal) == f"output at {output}"


DETAILS = (
    "output at 3.4\xa0mA, below 3.6\xa0mA; level not known: on the bench; "
    "no as found possible: it does not start"
)
SAID = f"Failed as it stood: {DETAILS}"


def test_the_record_says_so(dead, sign_in, technician):
    page = folded(sign_in(technician).get(dead.get_absolute_url()))
    assert f"</svg>Failed as it stood:</span> {DETAILS}." in page
    assert "failed as it stood, nothing more could be read" in page
    assert "level not known: on the bench" in page
    assert "As found is incomplete" not in page
    assert "Failed as it stood: <a" in page


def test_the_approver_reads_it_first(technician, approver, sign_in):
    record = a_record(
        by=technician, readings=[], without_level=[standing("3.4")], no_as_found_reason="dead"
    )
    page = folded(sign_in(approver).get(reverse("calibration:approve", args=[record.pk])))
    assert "no as found possible: dead. Approving opens a finding. It is left failed." in page
    assert "As found is incomplete" not in page
    assert "evidence of a failure rather than of drift" not in page


def test_the_approver_reads_that_a_look_was_not_judged(technician, approver, sign_in):
    record = a_record(by=technician, readings=FOUND, without_level=[standing("13.2")])
    page = folded(sign_in(approver).get(reverse("calibration:approve", args=[record.pk])))
    assert f"As it stands no level was known ({STORM})" in page
    assert "not judged" in page


def test_the_history_says_so(dead, sign_in, auditor):
    page = folded(sign_in(auditor).get(reverse("calibration:history", args=[dead.point_id])))
    assert f"{SAID}." in page
    assert f"opened by record {dead.pk}, found failed" in page


def test_the_trend_says_so_and_begins_anew(people, sign_in, planner):
    point = an_equipped_point()
    for days in (200, 100):
        an_approved_record(point, **people, done_on=TODAY - dt.timedelta(days))
    dead = an_approved_record(
        point,
        **people,
        readings=[],
        without_level=[standing("3.4", why="on the bench")],
        no_as_found_reason="it does not start",
    )
    page = folded(sign_in(planner).get(point.get_absolute_url()))
    assert "A failure is no drift: the trend begins anew after it." in page
    assert f'<a href="{dead.get_absolute_url()}">' in page
    assert f"</a>: {SAID}." in page
    assert "Found failed on" in page
    results = results_of(points_of([point.pk]))
    assert not (results.found == results.found).any()


# ---- typed in ----
def sent_form(observed="3.4", why=STORM, **more):
    return typed([], **{
        "stands-rows": 1,
        "stands-0-applied": "",
        "stands-0-observed": observed,
        "stands-0-no_level_reason": why,
        "no_as_found_reason": "it does not start",
        **more,
    })  # fmt: skip


@pytest.fixture
def send(sign_in, technician):
    job = a_job(by=technician)
    return lambda form: sign_in(technician).post(
        reverse("calibration:calibrate", args=[job.pk]), form
    )


def test_a_dead_transmitter_is_typed_in_without_a_level(send):
    answer = send(sent_form())
    record = Calibration.objects.get()
    assert (answer.status_code, answer.url) == (302, record.get_absolute_url())
    assert record.readings.get().no_level_reason == STORM
    assert record.found_verdict == "fail"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"why": ""}, "Give the level at which it was read, or the reason why none is known."),
        ({"stands-0-applied": "4.3"}, "Give either the level or the reason why none is known."),
        ({"observed": ""}, "Give what the meter or the display reads."),
        ({"no_as_found_reason": ""}, "As-found readings are missing."),
        ({"observed": "13.2"}, "neither a failure nor an error beyond the tolerance"),
    ],
)
def test_the_form_says_what_is_missing_and_keeps_what_was_typed(send, changed, said):
    answer = send(sent_form(**changed))
    assert answer.status_code == 422
    page = folded(answer)
    assert said in page
    assert changed.get("why", STORM) in page
    assert not Calibration.objects.exists()


def test_a_check_before_sending_says_that_it_failed(send):
    page = folded(send(sent_form(check="1")))
    assert (
        "Failed as it stood:</span> output at 3.4\xa0mA, below 3.6\xa0mA; level not known" in page
    )
    assert "NE 43: failure low" in page
    assert not Calibration.objects.exists()


def test_an_amendment_begins_with_the_reason(dead, technician, sign_in):
    page = folded(sign_in(technician).get(reverse("calibration:amend", args=[dead.pk])))
    assert 'name="stands-0-no_level_reason" value="on the bench"' in page


def test_an_amended_failure_stays_one(dead, people):
    sent = a_sent_record(
        readings=[],
        without_level=[standing("3.5", why="on the bench")],
        no_as_found_reason="it does not start",
    )
    amended = records.amend(
        dead, sent, reason="read 3.5", submission=typed()["submission"], by=people["by"], at=NOON
    ).record
    approval_acts.approve(
        amended, content_sha256=amended.content_sha256, by=people["approved_by"], at=NOON
    )
    assert (amended.found_verdict, amended.left_verdict) == ("fail", "fail")
    assert amended.readings.get().observed == Decimal("3.5")


def status_of(point_id: int):
    point = MeasuringPoint.objects.get(pk=point_id)
    return point.status(TODAY)
