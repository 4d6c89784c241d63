"""Jobs: the technician's list and one job's page."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from calibration.approval import acts as approval_acts
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from tests.folded import folded
from tests.makers import NOON, TODAY, a_job, a_procedure, a_record, a_tank, an_equipped_point

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


def test_my_jobs_stand_first_and_returned_ones_on_top(
    sign_in, technician, approver, planner, second_technician
):
    jobs.plan(an_equipped_point("LT-102A"), technician=technician, by=planner)
    record = a_record(an_equipped_point("LT-103A"), by=technician)
    approval_acts.send_back(record, reason="the dip is missing", by=approver, at=NOON)
    a_job(an_equipped_point("LT-104A"), by=second_technician)
    page = sign_in(technician).get("/jobs/").content.decode()
    assert page.index("LT-103A") < page.index("LT-102A") < page.index("LT-104A")
    assert "the dip is missing" in page


def below_what_waits(answer) -> str:
    """The lists of jobs, under the table of what waits."""
    return answer.content.decode().partition("<h2>Mine</h2>")[2]


def test_my_jobs_of_today_stand_before_later_ones_by_tank(sign_in, technician, planner):
    def planned(tag, tank, on):
        point = an_equipped_point(tag, tank=a_tank(tank))
        job = jobs.plan(point, technician=technician, by=planner)
        Job.objects.filter(pk=job.pk).update(planned_on=on)

    planned("LT-1A", "T-1", TODAY + dt.timedelta(1))
    planned("LT-12A", "T-12", TODAY)
    planned("LT-3A", "T-3", TODAY)
    page = below_what_waits(sign_in(technician).get("/jobs/"))
    places = [page.index(mark) for mark in (">Today<", "LT-3A", "LT-12A", ">Later, or", "LT-1A")]
    assert places == sorted(places)


def test_a_returned_job_is_never_left_out(sign_in, technician, approver, monkeypatch):
    monkeypatch.setattr("calibration.jobs.list_page.MINE", 1)
    a_job(an_equipped_point("LT-1A", tank=a_tank("T-1")), by=technician)
    record = a_record(an_equipped_point("LT-9A", tank=a_tank("T-9")), by=technician)
    approval_acts.send_back(record, reason="the dip is missing", by=approver, at=NOON)
    page = below_what_waits(sign_in(technician).get("/jobs/"))
    assert "LT-9A" in page
    assert "LT-1A" not in page


def test_others_are_ordered_by_area_and_tank(sign_in, technician, planner):
    for tag, tank in (("LT-110A", "T-110"), ("LT-9A", "T-9")):
        jobs.plan(an_equipped_point(tag, tank=a_tank(tank)), technician=None, by=planner)
    page = sign_in(technician).get("/jobs/").content.decode()
    assert page.index("LT-9A") < page.index("LT-110A")
    assert "LT-110A" not in sign_in(technician).get("/jobs/?q=lt-9").content.decode()
    serial = Job.objects.get(point__tag="LT-9A").point.installations.get().transmitter.serial
    found = sign_in(technician).get(f"/jobs/?q={serial[1:]}").content.decode()
    assert "LT-9A" in found
    assert "LT-110A" not in found


def test_an_empty_list_says_what_to_do(sign_in, technician):
    assert "Take one of the open jobs below" in sign_in(technician).get("/jobs/").content.decode()


def test_a_job_shows_facts_cautions_steps_and_history(sign_in, technician):
    a_procedure()
    job = a_job(by=technician)
    page = sign_in(technician).get(job.get_absolute_url()).content.decode()
    for shown in (
        "3-wire",
        "palm olein",
        "0.300 to 8.300",
        "Permit in force.",
        "Loop returned.",
        "take job",
        "Enter the",
    ):
        assert shown in page


def test_starting_twice_leads_to_the_same_job(sign_in, technician):
    point, client = an_equipped_point(), sign_in(technician)
    first, second = (client.post(reverse("calibration:job_new", args=[point.pk])) for _ in range(2))
    assert first.url == second.url == f"/jobs/{Job.objects.get().pk}/calibrate/"
    assert client.get(reverse("calibration:job_new", args=[point.pk])).status_code == 405


def test_a_job_in_other_hands_is_refused_with_their_name(sign_in, technician, second_technician):
    job = a_job(by=second_technician)
    answer = sign_in(technician).post(reverse("calibration:job_new", args=[job.point_id]))
    assert answer.url == f"/points/{job.point_id}/"
    assert Job.objects.get().technician == second_technician


def test_who_may_start_and_see_a_job(sign_in, technician, planner, administrator, outsider):
    job = a_job(by=technician)
    start = reverse("calibration:job_new", args=[job.point_id])
    assert sign_in(planner).post(start).status_code == 403
    assert sign_in(outsider).post(start).status_code == 404
    assert sign_in(planner).get(job.get_absolute_url()).status_code == 200
    assert sign_in(outsider).get(job.get_absolute_url()).status_code == 404
    assert sign_in(administrator).get("/jobs/").status_code == 403


def test_job_pages_cost_the_same_for_one_and_for_many(
    sign_in, technician, planner, django_assert_max_num_queries
):
    for number in range(5):
        jobs.plan(
            an_equipped_point(f"LT-10{number}B"),
            technician=technician if number % 2 else None,
            by=planner,
        )
    a_procedure()
    client = sign_in(technician)
    with django_assert_max_num_queries(9):
        client.get("/jobs/")
    address = Job.objects.first().get_absolute_url()
    with django_assert_max_num_queries(12):
        client.get(address)


def test_a_procedure_is_read_by_version_and_never_by_those_who_see_no_site(
    sign_in, technician, administrator
):
    a_procedure()
    client = sign_in(technician)
    assert "cap-tank" in client.get("/procedures/").content.decode()
    page = folded(client.get("/procedures/cap-tank/?version=1"))
    assert "0, 25, 50, 75, 100 % of span, rising and falling" in page
    assert client.get("/procedures/cap-tank/?version=7").status_code == 404
    assert client.get("/procedures/none/").status_code == 404
    assert sign_in(administrator).get("/procedures/").status_code == 403
