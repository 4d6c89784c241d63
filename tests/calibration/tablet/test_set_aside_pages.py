"""Works set aside, as pages: both versions side by side, settling, and where they are named."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.jobs import acts as jobs
from calibration.records import acts as records
from calibration.records.models import Calibration
from calibration.tablet import acts as field
from calibration.tablet.models import FieldWork
from tests.calibration.tablet.field_works import a_content, a_pack_job, sha_of, text_of
from tests.folded import folded
from tests.makers import a_job, a_sent_record, an_equipped_point

pytestmark = pytest.mark.django_db


def signed(job, technician, now, **more):
    content = a_content(a_pack_job(job, by=technician, at=now), at=now, **more)
    work = field.ToSign(uuid.UUID(content["submission"]), job.pk, sha_of(text_of(content)))
    field.sign([work], device="Tablet 3", device_at=now, by=technician, at=now)
    return content


def arrived(content, technician, now) -> FieldWork:
    work, _ = field.receive(
        uuid.UUID(content["submission"]), text_of(content), by=technician, at=now
    )
    return work


@pytest.fixture
def aside(job, technician, second_technician, planner, now) -> FieldWork:
    """Range edited, handed to another, done by that other: all while the tablet was away."""
    content = signed(job, technician, now, found=[0.4] * 9, note="left the hatch open")
    job.point.upper = Decimal("8.4")
    job.point.save()
    jobs.hand_over(job, to=second_technician, by=planner)
    sent = a_sent_record(done_on=now.date())
    records.submit(job, sent, submission=uuid.uuid4(), by=second_technician, at=now)
    return arrived(content, technician, now)


@pytest.fixture
def edited(job, technician, now) -> FieldWork:
    content = signed(job, technician, now)
    job.point.upper = Decimal("8.4")
    job.point.save()
    return arrived(content, technician, now)


def rows_of(page: str, label: str) -> str:
    """The row of a table that begins with this label."""
    return page.split(f'<th scope="row">{label}</th>')[1].split("</tr>")[0]


def test_both_versions_stand_side_by_side_and_differences_are_marked(aside, planner, sign_in):
    client = sign_in(planner)
    with CaptureQueriesContext(connection) as asked:
        page = client.get(aside.get_absolute_url()).content.decode()
    assert len(asked) <= 12
    upper = rows_of(page, "Upper range value")
    assert "8.3" in upper
    assert "8.4" in upper
    assert "differs" in upper
    assert "same" in rows_of(page, "Lower range value")
    assert "R. Ostervane" in rows_of(page, "With")
    first = Calibration.objects.get()
    assert f'href="{first.get_absolute_url()}"' in page
    assert f"Record {first.pk}, read" in page
    assert "left the hatch open" in page
    assert "Steps on the tablet" in page
    assert page.count('class="state warn"') > 5


def test_a_planner_stores_it_after_all(edited, planner, sign_in, now):
    client = sign_in(planner)
    page = client.get(edited.get_absolute_url()).content.decode()
    assert f'value="{now.date()}"' in page
    answer = client.post(
        edited.get_absolute_url(),
        {"outcome": "store", "why": "range now right", "done_on": now.date()},
        follow=True,
    )
    record = Calibration.objects.get()
    assert f"is stored as record {record.pk}" in answer.content.decode()
    page = client.get(record.get_absolute_url()).content.decode()
    assert "Set aside, then stored by A. Marrowby: range now right" in page


def test_an_approver_keeps_it_without_a_record(edited, approver, sign_in):
    client = sign_in(approver)
    answer = client.post(
        edited.get_absolute_url(), {"outcome": "keep", "why": "done again"}, follow=True
    )
    assert "kept without a record" in answer.content.decode()
    assert not Calibration.objects.exists()
    assert "done again" in client.get(edited.get_absolute_url()).content.decode()


@pytest.mark.parametrize("outcome", ["store", "keep"])
def test_what_was_typed_stays_when_it_is_refused(outcome, aside, planner, sign_in, now):
    client = sign_in(planner)
    body = {"outcome": outcome, "why": "", "done_on": now.date()}
    assert client.post(aside.get_absolute_url(), body).status_code == 422
    if outcome == "store":
        answer = client.post(aside.get_absolute_url(), body | {"why": "both were true"})
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "waits for approval" in page
        assert "both were true" in page
    assert FieldWork.objects.get().state == "set aside"


def test_a_technician_sees_their_own_only_and_cannot_settle(
    edited, technician, second_technician, sign_in
):
    mine, other = sign_in(technician), sign_in(second_technician)
    assert "This is your own work" in mine.get(edited.get_absolute_url()).content.decode()
    assert edited.job.point.tag in mine.get("/set-aside/").content.decode()
    assert other.get(edited.get_absolute_url()).status_code == 404
    assert "Nothing to settle" in other.get("/set-aside/").content.decode()
    body = {"outcome": "keep", "why": "mine"}
    assert mine.post(edited.get_absolute_url(), body).status_code == 403


def test_a_work_set_aside_stands_first_where_a_day_begins(
    edited, planner, technician, second_technician, sign_in
):
    tag = edited.job.point.tag
    set_aside = f'<a href="/set-aside/{edited.pk}/">{tag}</a>'
    assert set_aside in folded(sign_in(planner).get("/due/"))
    assert set_aside in folded(sign_in(technician).get("/jobs/"))
    assert set_aside not in folded(sign_in(second_technician).get("/jobs/"))


def test_the_list_shows_each_state_and_costs_no_more_for_more(
    job, technician, planner, approver, sign_in, now
):
    content = signed(job, technician, now)
    client = sign_in(planner)
    page = client.get("/set-aside/?state=signed").content.decode()
    assert "signed, not received" in page
    assert job.point.tag in page
    arrived(content, technician, now)
    assert job.point.tag in client.get("/set-aside/?state=stored").content.decode()
    for n in range(4):
        other = a_job(an_equipped_point(f"LT-20{n}"), by=technician)
        gone = signed(other, technician, now)
        jobs.cancel(other, by=planner, why="tank out of use")
        arrived(gone, technician, now)
    with CaptureQueriesContext(connection) as asked:
        page = client.get("/set-aside/").content.decode()
    assert page.count("to settle</span>") == 4
    assert len(asked) <= 6
    assert client.get("/set-aside/?state=nonsense").status_code == 200


def test_a_work_that_cannot_be_read_is_shown_word_for_word(job, technician, planner, sign_in, now):
    text = '{"format": 1, "readings": "<b>none</b>"}'
    submission = uuid.uuid4()
    field.sign(
        [field.ToSign(submission, job.pk, sha_of(text))],
        device="",
        device_at=now,
        by=technician,
        at=now,
    )
    work, _ = field.receive(submission, text, by=technician, at=now)
    page = sign_in(planner).get(work.get_absolute_url()).content.decode()
    assert "&lt;b&gt;none&lt;/b&gt;" in page
    assert "nothing can be compared" in page


def test_a_signed_work_that_is_not_here_says_where_it_is(job, technician, planner, sign_in, now):
    signed(job, technician, now)
    page = folded(sign_in(planner).get(FieldWork.objects.get().get_absolute_url()))
    assert "Not received yet" in page
    assert "T. Quillane opens Spanbook on Tablet 3" in page
