"""Handing a job to another technician, from its page."""

from __future__ import annotations

import pytest
from django.urls import reverse

from plant.ledger.models import LedgerEntry
from tests.folded import folded
from tests.makers import a_job, a_procedure, a_record, an_equipped_point

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def job(technician):
    a_procedure()
    return a_job(an_equipped_point(), by=technician)


def hand_over(client, job, **typed):
    return client.post(reverse("calibration:job_hand_over", args=[job.pk]), typed)


def test_a_planner_hands_a_job_in_hand_to_another_technician(
    sign_in, planner, job, second_technician
):
    page = folded(sign_in(planner).get(job.get_absolute_url()))
    assert reverse("calibration:job_hand_over", args=[job.pk]) in page
    sent = {"technician": second_technician.pk, "why": "on leave"}
    assert hand_over(sign_in(planner), job, **sent).status_code == 302
    job.refresh_from_db()
    assert job.technician == second_technician
    entry = LedgerEntry.objects.get(act="hand over job")
    assert (entry.why, entry.details["to"]) == ("on leave", second_technician.name)


def test_only_technicians_of_the_site_are_offered(sign_in, planner, approver, job):
    answer = hand_over(sign_in(planner), job, technician=approver.pk)
    assert answer.status_code == 422
    assert answer.context["form"].errors["technician"]
    job.refresh_from_db()
    assert job.technician != approver


def test_a_technician_sees_no_form_and_hands_nothing_over(
    sign_in, technician, second_technician, job
):
    page = folded(sign_in(technician).get(job.get_absolute_url()))
    assert "hand-over" not in page
    answer = hand_over(sign_in(technician), job, technician=second_technician.pk)
    assert answer.status_code == 403


def test_a_job_whose_record_waits_is_not_handed_over(
    sign_in, planner, technician, second_technician
):
    record = a_record(by=technician)
    page = folded(sign_in(planner).get(record.job.get_absolute_url()))
    assert "hand-over" not in page
    answer = hand_over(sign_in(planner), record.job, technician=second_technician.pk)
    assert answer.status_code == 422
    assert "only an open job" in folded(answer)
