"""The calibration form: from the open job to the receipt, and everything it refuses on the way."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from django.urls import reverse

from calibration.jobs.models import Job
from calibration.records.models import Calibration
from calibration.standards import acts as standards
from plant.quantities import day_text
from tests.calibration.filling import typed
from tests.folded import folded
from tests.makers import (
    TODAY,
    a_certificate,
    a_certified_standard,
    a_job,
    a_point,
    a_procedure,
    a_standard,
    an_approved_record,
    an_equipped_point,
    an_installation,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def job(technician):
    return a_job(by=technician)


@pytest.fixture
def send(sign_in, technician, job):
    """Send the form as the technician; keyword arguments as of ``typed``."""

    def post(*args, who=technician, on=job, **more):
        return sign_in(who).post(
            reverse("calibration:calibrate", args=[on.pk]), typed(*args, **more)
        )

    return post


def test_the_form_sets_out_the_procedures_points_up_and_down(sign_in, technician, job):
    a_procedure()
    page = folded(sign_in(technician).get(reverse("calibration:calibrate", args=[job.pk])))
    applied = [
        f'name="found-{n}-applied" data-part="applied" value="{v}"'
        for n, v in enumerate(
            ["0.300", "2.300", "4.300", "6.300", "8.300", "6.300", "4.300", "2.300", "0.300"]
        )
    ]
    assert all(row in page for row in applied)
    assert "Permit in force." in page
    assert page.count("falling") >= 8


def test_a_stored_calibration_leads_to_its_receipt(send, job, approver, sign_in, technician):
    answer = send([-0.25] + [0.1] * 8)
    record = Calibration.objects.get(job=job)
    assert (answer.status_code, answer.url) == (302, f"/records/{record.pk}/")
    page = folded(sign_in(technician).get(answer.url))
    assert f"record {record.pk}" in page
    assert record.content_sha256[:12] in page
    assert "S. Fenharrow reviews it" in page
    assert "2 Nov 2027" in page  # twelve months on
    assert record.readings.get(stage="as found", sequence=1).observed == Decimal("3.96")


def test_the_same_form_sent_again_gives_the_same_receipt_and_stores_nothing(send, job):
    submission = str(uuid.uuid4())
    first = send(submission=submission)
    again = send(submission=submission)
    assert first.url == again.url
    assert Calibration.objects.count() == 1


def test_the_same_form_with_other_content_is_a_conflict_and_keeps_what_was_typed(send):
    submission = str(uuid.uuid4())
    send(submission=submission)
    answer = send(submission=submission, note="changed my mind")
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "with other entries" in page
    assert "changed my mind" in page
    assert 'value="2.3' in page


def test_the_second_of_two_people_is_refused_with_their_entries_kept(send, second_technician):
    send()
    answer = send([0.3] * 9, who=second_technician, note="mine")
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "it takes no further record" in page
    assert "mine" in page
    assert 'value="4.0480"' in page or 'value="4.048"' in page
    assert Calibration.objects.count() == 1


WRONG = {
    "a decimal comma": ("found-3-observed", "3,98", "Write 3.98 with a point."),
    "not a number": ("found-3-observed", "NaN", "not a plain number"),
    "infinity": ("found-3-observed", "inf", "not a plain number"),
    "an exponent": ("found-3-observed", "1e999", "not a plain number"),
    "words": ("found-3-applied", "half full", "not a plain number"),
    "too large": ("found-3-applied", "99999999999", "too large to be true"),
    "too many digits": ("found-3-observed", "11.1234567", "at most 5 digits"),
    "a reading left out": ("found-3-observed", "", "Read this one too, or clear its applied value"),
    "an output without its level": ("found-3-applied", "", "Give the applied value"),
    "no cautions read": ("cautions_read", "", "Read the cautions"),
    "no day": ("done_on", "", "required"),
    "a day to come": ("done_on", "2026-11-03", "is in the future"),
    "a day before any transmitter": ("done_on", "2019-12-31", "No transmitter is registered"),
    "no standard": ("standards", [], "Tick at least one standard"),
    "a temperature in words": ("ambient_c", "warm", "not a plain number"),
    "an unknown way": ("way", "guessing", "Select a valid choice"),
    "adjusted, but not read again": ("adjust-zero-done", "on", "as-left readings are needed"),
}


@pytest.mark.parametrize(("field", "value", "said"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_said_beside_it_and_nothing_is_lost(send, field, value, said):
    answer = send(**{field: value, "note": "kept all the same"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "kept all the same" in page
    assert (
        f'value="{value}"' in page
        or not isinstance(value, str)
        or not value
        or value == "on"
        or field == "way"
    )
    assert "checked" in page or field in ("standards", "cautions_read")
    assert Calibration.objects.count() == 0


@pytest.mark.parametrize(
    ("observed", "band"), [("3.5", "failure low"), ("21.5", "failure high"), ("3.7", "suspect low")]
)
def test_currents_outside_the_range_are_stored_and_told_by_their_band(
    send, observed, band, sign_in, technician
):
    answer = send(**{"found-0-observed": observed})
    assert answer.status_code == 302
    assert band in sign_in(technician).get(answer.url).content.decode()


def test_without_as_found_the_reason_is_asked_for(send):
    answer = send([])
    assert answer.status_code == 422
    assert "As-found readings are missing" in answer.content.decode()


def test_as_left_alone_is_taken_with_the_reason_why(send, technician):
    answer = send([], [0.0] * 9, no_as_found_reason="The probe was broken by a paddle.")
    assert answer.status_code == 302
    record = Calibration.objects.get()
    assert (record.found_verdict, record.left_verdict) == ("", "pass")


def test_a_point_whose_applied_value_is_cleared_is_left_out(send):
    assert send(**{"found-8-applied": "", "found-8-observed": ""}).status_code == 302
    assert Calibration.objects.get().readings.filter(stage="as found").count() == 8


def test_a_lapsed_standard_is_refused_by_name_and_shown(send):
    lapsed = a_standard("MM-07")
    a_certificate(lapsed, dt.date(2025, 1, 1), dt.date(2025, 12, 31))
    answer = send(standards=[lapsed.pk])
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f"MM-07 has no valid certificate on {day_text(TODAY)}" in page
    assert "no certificate on this day" in page


def test_a_lapsed_standard_is_not_offered(sign_in, technician, job):
    a_procedure()
    a_certified_standard("MM-01")
    a_certificate(a_standard("MM-07"), dt.date(2025, 1, 1), dt.date(2025, 12, 31))
    page = folded(sign_in(technician).get(reverse("calibration:calibrate", args=[job.pk])))
    lapsed = page[page.index('data-covers="2025-01-01/2025-12-31"') :][:200]
    assert "hidden" in lapsed
    assert "disabled" in lapsed


def test_the_technician_s_own_kit_comes_first(sign_in, technician, job):
    a_procedure()
    a_certified_standard("MM-01")
    a_certificate(a_standard("MM-09", holder=technician))
    page = sign_in(technician).get(reverse("calibration:calibrate", args=[job.pk])).content.decode()
    assert page.index("MM-09") < page.index("MM-01")
    assert page.count("your kit") == 1


def test_a_standard_of_another_site_cannot_be_chosen(send, outsider):
    foreign = a_certified_standard("DT-9", outsider.appointments.first().site)
    answer = send(standards=[foreign.pk])
    assert answer.status_code == 422
    assert "not one of the available choices" in answer.content.decode()


def test_an_indication_decides_where_it_was_read(send):
    send(**{"found-0-indication": "0.310"})
    reading = Calibration.objects.get().readings.get(stage="as found", sequence=1)
    assert reading.error_percent == pytest.approx(0.125)


def test_sending_takes_few_queries(sign_in, technician, job, django_assert_max_num_queries):
    sent, client = typed(), sign_in(technician)
    client.get("/jobs/")
    # Most are the model checking its own rules once more (calibration.records.acts).
    with django_assert_max_num_queries(57):
        assert client.post(reverse("calibration:calibrate", args=[job.pk]), sent).status_code == 302


def test_the_form_costs_the_same_however_much_history_there_is(
    sign_in, technician, approver, job, django_assert_max_num_queries
):
    typed()
    client = sign_in(technician)
    with django_assert_max_num_queries(12):
        client.get(reverse("calibration:calibrate", args=[job.pk]))


def test_a_returned_job_may_be_calibrated_again(send, job):
    Job.objects.filter(pk=job.pk).update(state="returned")
    assert send().status_code == 302


def test_a_closed_job_sends_to_itself(sign_in, technician, send, job):
    send()
    answer = sign_in(technician).get(reverse("calibration:calibrate", args=[job.pk]))
    assert (answer.status_code, answer.url) == (302, f"/jobs/{job.pk}/")


def test_only_a_technician_of_the_site_may_calibrate(sign_in, job, planner, outsider):
    address = reverse("calibration:calibrate", args=[job.pk])
    assert sign_in(planner).get(address).status_code == 403
    assert sign_in(planner).post(address, typed()).status_code == 403
    assert sign_in(outsider).get(address).status_code == 404


@pytest.mark.parametrize("asked", [{}, {"check": "1"}])
def test_a_standard_that_cannot_count_is_refused_beside_the_standards(send, asked):
    tester = a_standard("BT-01", kind="bond or insulation tester")
    a_certificate(tester)
    page = folded(send(standards=[tester.pk], **asked))
    assert "BT-01: Bond or insulation tester: not used for wetted level by dip." in page
    assert not Calibration.objects.exists()


def test_a_point_of_volume_and_reverse_action_is_set_out_and_stored(sign_in, technician):
    point = a_point(
        "LT-131A", quantity="volume", unit="m3", lower=Decimal(60), upper=Decimal(10), signal="1-5V"
    )
    an_installation(point)
    a_certificate(a_standard("MM-01"), unit="V")
    job = a_job(point, by=technician)
    sent = typed(
        [],
        **{
            "found-rows": 2,
            "found-0-applied": "60",
            "found-0-observed": "1.004",
            "found-1-applied": "10",
            "found-1-observed": "4.996",
            "stands-0-applied": "35",
            "stands-0-observed": "3",
        },
    )
    answer = sign_in(technician).post(reverse("calibration:calibrate", args=[job.pk]), sent)
    assert answer.status_code == 302
    errors = [r.error_percent for r in Calibration.objects.get().readings.filter(stage="as found")]
    assert errors == [pytest.approx(0.1), pytest.approx(-0.1)]


# ---- the same form again, for an amendment ----
def test_an_amendment_comes_filled_in_and_asks_for_the_reason(sign_in, technician, approver):
    record = an_approved_record(by=technician, approved_by=approver, found=[0.1] * 8 + [0.4])
    address = reverse("calibration:amend", args=[record.pk])
    page = sign_in(technician).get(address).content.decode()
    assert 'value="4.064"' in page
    refused = sign_in(technician).post(address, typed())
    assert refused.status_code == 422
    stored = sign_in(technician).post(address, typed(reason="Typed 4.064 for 4.046 mA."))
    amendment = Calibration.objects.get(amends=record)
    assert stored.url == f"/records/{amendment.pk}/"
    chain = folded(sign_in(technician).get(f"/records/{record.pk}/"))
    assert f"record {amendment.pk}" in chain
    assert "is waiting for approval" in chain


def test_a_standard_withdrawn_later_does_not_spoil_the_resent_form(send, approver):
    submission = str(uuid.uuid4())
    first = send(submission=submission)
    standard = a_standard("MM-02")
    assert standard
    used = Calibration.objects.get().standards_used.get().standard
    standards.withdraw(used, on=TODAY, why="dropped", by=approver)
    assert send(submission=submission).url == first.url


def test_a_second_amendment_of_one_record_is_a_conflict(
    sign_in, technician, second_technician, approver
):
    record = an_approved_record(an_equipped_point(), by=technician, approved_by=approver)
    address = reverse("calibration:amend", args=[record.pk])
    sign_in(technician).post(address, typed(reason="first"))
    answer = sign_in(second_technician).post(address, typed(reason="second"))
    assert answer.status_code == 409
    assert "already has an amendment" in answer.content.decode()


def test_readings_are_checked_without_being_stored(send, job):
    answer = send([1.4 * n / 4 for n in (0, 1, 2, 3, 4, 3, 2, 1, 0)], check="1")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Checked, not submitted yet" in page
    assert "+1.40" in page
    assert "grows in proportion" in page  # a hint, with what to check
    assert "test uncertainty ratio" in page
    assert 'value="3.' in page or 'value="4' in page  # what was typed stands below
    assert not Calibration.objects.exists()
    job.refresh_from_db()
    assert job.state == "in hand"


def test_a_check_of_nothing_says_so(send):
    page = send([], check="1", **{"stands-0-observed": ""}).content.decode()
    assert "Nothing to check yet" in page
    assert not Calibration.objects.exists()
