"""Records as pages: the list, one record, its approval by somebody else."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from calibration.approval import acts as approval_acts
from calibration.approval.unusual import unusual
from calibration.findings.models import Finding
from calibration.records.models import Calibration, Reading
from tests.calibration.filling import typed
from tests.makers import (
    NOON,
    TODAY,
    a_certificate,
    a_certified_standard,
    a_job,
    a_person,
    a_record,
    a_site,
    a_standard,
    an_approved_record,
    an_equipped_point,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def record(technician) -> Calibration:
    return a_record(by=technician, found=[-0.6] + [0.1] * 8)


def address(name: str, record: Calibration) -> str:
    return reverse(f"calibration:{name}", args=[record.pk])


def approving(record: Calibration, **more) -> dict[str, str]:
    return {"content_sha256": record.content_sha256, "note": "", **more}


def test_from_the_open_job_to_the_moved_due_date(sign_in, technician, approver):
    point = an_equipped_point()
    sent = typed()
    started = sign_in(technician).post(reverse("calibration:job_new", args=[point.pk]))
    receipt = sign_in(technician).post(started.url, sent)
    record = Calibration.objects.get()
    assert receipt.url == f"/records/{record.pk}/"
    assert sign_in(technician).post(started.url, sent).url == receipt.url
    answer = sign_in(approver).post(address("approve", record), approving(record), follow=True)
    page = answer.content.decode()
    assert f"Record {record.pk} is approved. LT-101A is next due on 2 Nov 2027." in page
    point.refresh_from_db()
    assert point.due_on == dt.date(2027, 11, 2)
    with pytest.raises(IntegrityError, match="never changes"), transaction.atomic():
        Calibration.objects.filter(pk=record.pk).update(note="rewritten")


def test_the_approver_sees_first_what_is_unusual(sign_in, approver, record):
    page = sign_in(approver).get(address("approve", record)).content.decode()
    assert "Not adjusted although the largest as-found error was −0.60 % of span" in page
    assert record.content_sha256 in page


def test_every_oddity_is_said(sign_in, approver, technician):
    record = a_record(
        by=technician,
        found=[-2.0, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.8, -2.0],
        left=[0.0] * 9,
        done_on=TODAY - dt.timedelta(5),
    )
    page = sign_in(approver).get(address("approve", record)).content.decode()
    assert "As found, 2 of 9 readings are out of tolerance. Approving opens a finding." in page
    assert "Entered 5 days after it was done." in page
    assert "Hysteresis of 0.70 %" in page
    answer = sign_in(approver).post(address("approve", record), approving(record), follow=True)
    assert "a finding is open" in answer.content.decode()
    assert Finding.objects.filter(record=record).exists()


def test_a_low_ratio_is_said_with_the_figure_that_the_policy_asks_for():
    rule = {"rule": "simple", "guard_share": "1", "risk_percent": "2", "least_tur": "3"}
    facts = {"site": a_site(), "submitted_at": NOON, "done_on": TODAY, "tolerance_percent": 1.0}
    low = Calibration(tur=2.4, found_verdict="pass", budget={"rule": rule}, **facts)
    said = "The test uncertainty ratio is 2.4 to 1, below the 3.0 to 1 that the policy asks for."
    assert said in unusual(low, [])
    low.tur = 3.5
    assert not any("ratio" in sentence for sentence in unusual(low, []))


def test_an_output_read_without_a_meter_is_said(sign_in, approver, technician):
    tape = a_standard("DT-01", kind="dip tape")
    a_certificate(tape)
    said = "No meter is among its standards"
    without = a_record(by=technician, standards=[tape])
    assert said in sign_in(approver).get(address("approve", without)).content.decode()
    point = an_equipped_point("LT-102A")
    proper = a_record(point, by=technician, standards=[tape, a_certified_standard()])
    assert said not in sign_in(approver).get(address("approve", proper)).content.decode()


def test_an_inconclusive_as_left_is_not_taken_for_back_in_tolerance():
    facts = {
        "site": a_site(),
        "submitted_at": NOON,
        "done_on": TODAY,
        "tolerance_percent": 1.0,
        "adjusted": True,
    }
    record = Calibration(found_verdict="pass", left_verdict="inconclusive", **facts)
    reading = Reading(stage="as left", verdict="inconclusive", error_percent=0.9, observed=12)
    sentence = next(s for s in unusual(record, [reading]) if s.startswith("As left"))
    assert "not shown that it goes back to service in tolerance" in sentence


def test_own_work_has_no_buttons_and_cannot_be_approved(sign_in, record, technician):
    both = a_person("jkelmorn", "technician", "approver", name="J. Kelmorn")
    own = a_record(an_equipped_point("LT-102A"), by=both)
    client = sign_in(both)
    page = client.get(address("approve", own)).content.decode()
    assert "This is your own work" in page
    assert "Return for this reason" not in page
    answer = client.post(address("approve", own), approving(own))
    assert answer.status_code == 422
    assert "Nobody approves or returns their own work" in answer.content.decode()
    own.refresh_from_db()
    assert own.state == "submitted"


def test_a_record_is_signed_only_as_it_was_shown(sign_in, approver, record):
    answer = sign_in(approver).post(
        address("approve", record), approving(record, content_sha256="0" * 64)
    )
    assert answer.status_code == 422
    assert "What was shown is not" in answer.content.decode()


def test_the_second_approver_learns_that_it_is_already_approved(sign_in, approver, record):
    second = a_person("piyerkand", "approver", name="P. Iyerkand")
    client = sign_in(second)
    client.get(address("approve", record))
    approval_acts.approve(record, content_sha256=record.content_sha256, by=approver, at=NOON)
    answer = client.post(address("approve", record), approving(record, note="looks right"))
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "is already approved" in page
    assert client.get(address("approve", record)).status_code == 302


def test_a_return_needs_its_reason_and_reaches_the_technicians_jobs(
    sign_in, approver, technician, record
):
    client = sign_in(approver)
    assert client.post(address("return", record), {"reason": " "}).status_code == 422
    answer = client.post(address("return", record), {"reason": "75 % was read twice"}, follow=True)
    assert "went back to T. Quillane" in answer.content.decode()
    jobs = sign_in(technician).get("/jobs/").content.decode()
    assert "75 % was read twice" in jobs


def test_a_record_shows_its_standards_and_each_standard_its_records(sign_in, auditor, record):
    client = sign_in(auditor)
    use = record.standards_used.get()
    page = client.get(record.get_absolute_url()).content.decode()
    assert use.certificate.number in page
    assert use.standard.get_absolute_url() in page
    assert record.get_absolute_url() in client.get(use.standard.get_absolute_url()).content.decode()
    assert "LT-101A" in client.get(f"/records/?standard={use.standard.pk}").content.decode()


def test_a_record_shows_what_was_typed_and_computed(sign_in, auditor, record):
    page = sign_in(auditor).get(record.get_absolute_url()).content.decode()
    for shown in ("3.904", "4.000", "−0.60", "+0.10", "T. Quillane", "WET", record.content_sha256):
        assert shown in page


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("", True),
        ("state=submitted", True),
        ("state=approved", False),
        ("q=101a", True),
        ("q=zzz", False),
        ("verdict=pass", True),
        ("verdict=found-fail", False),
        ("since=2026-11-02", True),
        ("until=2026-11-01", False),
        ("since=nonsense", True),
        ("after=nonsense", True),
        ("after=2026-11-02.0", False),
        ("standard=999", False),
    ],
)
def test_the_list_is_filtered(sign_in, auditor, record, query, shown):
    page = sign_in(auditor).get(f"/records/?{query}").content.decode()
    assert (f'href="/records/{record.pk}/"' in page) == shown


def test_older_records_follow_without_gap_or_repeat(
    sign_in, auditor, technician, approver, monkeypatch
):
    monkeypatch.setattr("calibration.records.views.ROWS", 2)
    point = an_equipped_point()
    made = [
        an_approved_record(
            point, by=technician, approved_by=approver, done_on=TODAY - dt.timedelta(n)
        ).pk
        for n in (0, 0, 1, 2, 2)
    ]
    client, url, seen = sign_in(auditor), "/records/", []
    while url:
        answer = client.get(url)
        seen += [row.pk for row in answer.context["rows"]]
        url = f"/records/{answer.context['older']}" if answer.context["older"] else ""
    assert sorted(seen) == sorted(made)
    assert len(seen) == 5


def test_record_pages_cost_the_same_for_one_and_for_many(
    sign_in, approver, technician, django_assert_max_num_queries
):
    for number in range(4):
        a_record(an_equipped_point(f"LT-10{number}B"), by=technician)
    record, client = Calibration.objects.first(), sign_in(approver)
    with django_assert_max_num_queries(8):
        client.get("/records/")
    with django_assert_max_num_queries(12):
        client.get(record.get_absolute_url())
    with django_assert_max_num_queries(12):
        client.get(address("approve", record))


@pytest.mark.parametrize("name", ["record", "approve", "amend", "return"])
def test_another_sites_record_does_not_exist(sign_in, outsider, record, name):
    client = sign_in(outsider)
    answer = (
        client.post(address(name, record))
        if name == "return"
        else client.get(address(name, record))
    )
    assert answer.status_code == 404


def test_who_may_do_what_with_a_record(
    sign_in, record, technician, planner, auditor, administrator
):
    for person in (technician, planner, auditor):
        assert sign_in(person).get(address("approve", record)).status_code == 403
        assert sign_in(person).post(address("return", record), {"reason": "x"}).status_code == 403
    assert sign_in(auditor).get(address("amend", record)).status_code == 403
    assert sign_in(administrator).get(record.get_absolute_url()).status_code == 404
    assert sign_in(administrator).get("/records/").status_code == 403


def test_direct_sql_cannot_touch_an_approved_record(technician, approver):
    record = an_approved_record(by=technician, approved_by=approver)
    with (
        pytest.raises(IntegrityError, match="never change"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "UPDATE calibration_reading SET observed = 12 WHERE record_id = %s", [record.pk]
        )


def test_a_note_cannot_carry_markup(sign_in, technician):
    job = a_job(by=technician)
    answer = sign_in(technician).post(
        reverse("calibration:calibrate", args=[job.pk]), typed(note="<script>alert(1)</script>")
    )
    page = sign_in(technician).get(answer.url).content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
