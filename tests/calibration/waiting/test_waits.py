"""What waits for a person: how many of each kind at each site, and nothing they may not open."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calibration.approval import acts as approval_acts
from calibration.deferrals import acts as deferrals
from calibration.drift.models import JumpQuestion
from calibration.findings import acts as findings
from calibration.findings.models import Finding
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.reminders.models import Digest, ReminderScan
from calibration.standards.models import StandardCertificate
from calibration.waiting.kinds import KINDS
from calibration.waiting.reads import Waits, waits_of
from plant.people.models import Person
from tests import makers
from tests.makers import NOON, TODAY

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
OUT = [1.5] + [0.1] * 8


def waits(person: Person, *, last_visit: dt.datetime | None = None) -> Waits:
    return waits_of(Person.objects.get(pk=person.pk), last_visit=last_visit, at=NOON)


def numbers(person: Person, **asked) -> dict[str, int]:
    """How many of each kind, where there are any."""
    return {row.kind.text: row.total for row in waits(person, **asked).rows if row.total}


@pytest.fixture
def plant(planner, technician, approver):
    """One of everything that can wait."""
    failed = makers.an_approved_record(
        makers.an_equipped_point("LT-1"), by=technician, approved_by=approver, found=OUT
    )
    makers.a_record(makers.an_equipped_point("LT-2"), by=technician)
    back = makers.a_record(makers.an_equipped_point("LT-3"), by=technician)
    approval_acts.send_back(back, reason="the dip is missing", by=approver, at=NOON)
    calm = makers.a_calibrated_point("LT-4", due_on=TODAY + dt.timedelta(9))
    deferrals.ask(calm, until=TODAY + dt.timedelta(40), reason="ship", by=planner, at=NOON)
    job = jobs.plan(calm, technician=technician, by=planner)
    Job.objects.filter(pk=job.pk).update(planned_on=TODAY)
    JumpQuestion.objects.create(
        site=calm.site,
        point=failed.point,
        record=failed,
        end="span",
        size_percent=0.8,
        chance=0.001,
        kind="step",
        raised_at=NOON,
    )
    makers.a_proposal(calm, months=6)
    doubted = makers.a_calibrated_point("LT-5", due_on=TODAY + dt.timedelta(200))
    Job.objects.create(site=doubted.site, point=doubted, due_on=TODAY, why="request")
    standard = makers.a_standard("DT-9", holder=technician)
    makers.a_certificate(standard)
    StandardCertificate.objects.filter(standard=standard).update(valid_until=TODAY)
    return calm.site


def test_a_planner_sees_all_that_has_to_be_planned_or_settled(plant, planner):
    assert numbers(planner) == {
        "not calibrated": 3,
        "in doubt": 1,
        "of these, nobody has the job": 2,
        "findings open": 1,
        "deferrals asked": 1,
        "standards lapsed or lapsing": 1,
        "jumps to explain": 1,
        "intervals proposed": 1,
    }


def test_a_technician_sees_their_own_jobs_and_kit(plant, technician, second_technician):
    assert numbers(technician) == {
        "jobs returned": 1,
        "jobs for today": 1,
        "own kit lapsed or lapsing": 1,
    }
    assert numbers(second_technician) == {}


def test_an_approver_sees_what_others_did(plant, approver, sign_in):
    assert numbers(approver) == {
        "records to approve": 1,
        "deferrals to decide": 1,
        "findings to assess": 1,
    }
    listed = sign_in(approver).get("/findings/?state=unassessed").content.decode()
    assert listed.count('class="plate"') == 1
    findings.assess(Finding.objects.get(), text="nothing was sold", by=approver, at=NOON)
    listed = sign_in(approver).get("/findings/?state=unassessed").content.decode()
    assert 'class="plate"' not in listed
    assert "findings to agree" not in numbers(approver)
    other = makers.a_person("second", "approver")
    assert numbers(other)["findings to agree"] == 1


def test_nobody_approves_their_own_record(plant, technician):
    technician.appointments.create(site=plant, role="approver", starts_on=makers.LONG_AGO)
    assert "records to approve" not in numbers(technician)


def test_an_auditor_sees_what_happened_since_the_last_visit(plant, auditor, approver, planner):
    assert numbers(auditor) == {"in doubt": 1, "findings opened": 1}
    Finding.objects.update(opened_at=NOON - dt.timedelta(days=20))
    assert "findings opened" not in numbers(auditor), "opened long before"
    assert numbers(auditor, last_visit=NOON - dt.timedelta(days=30))["findings opened"] == 1
    an_hour_ago = NOON - dt.timedelta(hours=1)
    Finding.objects.update(opened_at=NOON - dt.timedelta(days=2))
    assert numbers(auditor, last_visit=an_hour_ago)["findings opened"] == 1


def test_an_administrator_sees_accounts_and_mail(plant, administrator, technician):
    Digest.objects.create(
        site=plant,
        person=technician,
        day=TODAY,
        message_id="<one@spanbook>",
        made_at=NOON - dt.timedelta(hours=1),
        last_error="550 no such mailbox",
    )
    ReminderScan.objects.create(site=plant, day=TODAY, at=NOON, lines=900, held=True)
    technician.appointments.update(ends_on=TODAY + dt.timedelta(5))
    assert numbers(administrator) == {
        "mails that cannot be sent": 1,
        "reminders on hold": 1,
        "roles that end within 30 days": 1,
        "accounts never used": Person.objects.filter(last_login=None).count(),
    }


def test_two_sites_never_add_up_in_one_column(plant, planner):
    elsewhere = makers.a_site("N", "Neelghat", "Asia/Kolkata")
    makers.an_equipped_point("LT-9", tank=makers.a_tank("T-9", site=elsewhere))
    assert [site.name for site in waits(planner).sites] == ["Marram Point"]
    planner.appointments.create(site=elsewhere, role="planner", starts_on=makers.LONG_AGO)
    found = waits(planner)
    assert [site.name for site in found.sites] == ["Marram Point", "Neelghat"]
    assert found.rows[0].numbers == [3, 1]


def test_a_site_where_a_person_has_another_role_is_not_theirs_to_plan(plant, planner):
    elsewhere = makers.a_site("N", "Neelghat", "Asia/Kolkata")
    planner.appointments.create(site=elsewhere, role="technician", starts_on=makers.LONG_AGO)
    first, *_, last = waits(planner).rows
    assert first.numbers == [3, None]
    assert last.numbers == [None, 0]


@pytest.mark.parametrize("role", list(KINDS))
def test_every_page_named_opens_and_says_as_many(role, plant, request, sign_in, technician):
    """The list behind a number holds that many; the page of each is the reader's to open."""
    person = request.getfixturevalue(role)
    client = sign_in(person)
    for row in waits(person).rows:
        if row.kind.page and row.total:
            assert client.get(row.kind.page).status_code == 200, row.kind.page
        for one in row.first:
            assert not one.url or client.get(one.url).status_code == 200, one.url


@pytest.mark.parametrize("role", ["planner", "auditor"])
def test_the_list_behind_each_status_holds_as_many(role, plant, request, sign_in, planner):
    late = makers.a_calibrated_point("LT-6", due_on=TODAY - dt.timedelta(9))
    doubted = makers.a_calibrated_point("LT-7", due_on=TODAY - dt.timedelta(9))
    Job.objects.create(site=late.site, point=doubted, due_on=TODAY, why="request")
    person = request.getfixturevalue(role)
    client = sign_in(person)
    rows = [row for row in waits(person).rows if row.kind.page.startswith("/due/")]
    assert len(rows) > 1
    for row in rows:
        page = client.get(row.kind.page).content.decode()
        assert page.count('class="plate"') == row.total, row.kind.text


def test_the_jobs_of_today_are_those_of_the_list(plant, technician, planner, sign_in):
    def planned(tag, **facts):
        job = jobs.plan(makers.a_calibrated_point(tag), technician=technician, by=planner)
        Job.objects.filter(pk=job.pk).update(**facts)

    planned("LT-31", planned_on=TODAY)
    planned("LT-32", planned_on=TODAY + dt.timedelta(1))
    planned("LT-33", planned_on=TODAY + dt.timedelta(1), state="in hand")
    [row] = [row for row in waits(technician).rows if row.kind.text == "jobs for today"]
    assert {one.label for one in row.first} == {"LT-31", "LT-33", "LT-4"}
    page = sign_in(technician).get("/jobs/").content.decode().partition("<h2>Mine</h2>")[2]
    today = page.partition(">Today<")[2].partition(">Later, or")[0]
    assert set(re.findall(r"LT-\d+", today)) == {"LT-31", "LT-33", "LT-4"}


def test_points_without_a_job_are_listed_under_a_heading_that_says_so(plant, planner, sign_in):
    client, words = sign_in(planner), "Not calibrated or in doubt, and nobody has the job"
    assert words in client.get("/due/?state=without+a+job").content.decode()
    assert words not in client.get("/due/?state=in+doubt").content.decode()


def test_who_holds_no_role_today_reads_whom_to_ask(plant, planner, sign_in):
    planner.appointments.update(ends_on=TODAY - dt.timedelta(1))
    assert waits(planner).rows == []
    page = sign_in(planner).get("/")
    assert page.status_code == 200
    assert "Ask an administrator to appoint you" in page.content.decode()
    assert "/people/" not in page.content.decode()


@pytest.mark.parametrize("role", list(KINDS))
def test_it_stands_first_on_the_page_where_a_day_begins(role, plant, request, sign_in):
    page = sign_in(request.getfixturevalue(role)).get("/", follow=True).content.decode()
    assert re.findall(r"<h2[^>]*>([^<]*)<", page)[0] == "What waits for you"
    assert all(kind.text in page for kind in KINDS[role])


def test_it_costs_four_queries_however_much_waits(plant, planner, technician, approver):
    person = Person.objects.get(pk=planner.pk)
    for role in ("technician", "approver", "auditor", "administrator"):
        person.appointments.create(site=plant, role=role, starts_on=makers.LONG_AGO)
    for n in range(5):
        makers.a_record(makers.an_equipped_point(f"LT-2{n}"), by=technician)
    with CaptureQueriesContext(connection) as asked:
        waits(person)
    assert len(asked) == 5, "the person, their roles, the sites, the numbers, the names"
