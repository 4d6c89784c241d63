"""Jobs: planned, taken in hand, handed over and cancelled; what each keeps, and what it refuses."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.approval import acts as approval
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, Refused
from tests.makers import NOON, TODAY, a_job, a_record, a_round, an_equipped_point
from tests.races import outcomes

pytestmark = pytest.mark.django_db

TOMORROW = TODAY + dt.timedelta(1)


def entry_of(act: str) -> LedgerEntry:
    return LedgerEntry.objects.get(act=act)


# ---- planned ----
def test_a_planned_job_has_its_cause_day_and_technician_and_stands_in_the_ledger(
    planner, technician
):
    point = an_equipped_point(due_on=TOMORROW)
    job = jobs.plan(
        point, why="after repair", technician=technician, planned_on=TODAY, note="seal", by=planner
    )
    job.refresh_from_db()
    assert (job.state, job.why, job.due_on) == ("planned", "after repair", TOMORROW)
    assert (job.technician, job.planned_on, job.note) == (technician, TODAY, "seal")
    entry = entry_of("plan job")
    assert (entry.person, entry.site, entry.why) == (planner, point.site, "seal")
    assert entry.details == {
        "tag": "LT-101A",
        "why": "after repair",
        "state": "planned",
        "technician": "T. Quillane",
        "planned for": "2026-11-02",
    }


def test_planning_again_changes_the_planned_job_and_makes_no_second_one(planner, technician):
    point = an_equipped_point()
    first = jobs.plan(point, technician=None, note="any day", by=planner)
    again = jobs.plan(point, why="request", technician=technician, by=planner)
    assert again.pk == first.pk
    job = Job.objects.get()
    assert (job.why, job.technician, job.note) == ("request", technician, "")


def test_a_job_in_hand_or_submitted_is_not_planned_over(planner, technician):
    in_hand = a_job(an_equipped_point("LT-1"), by=technician)
    submitted = a_record(an_equipped_point("LT-2"), by=technician).job
    for job, words in ((in_hand, "in hand"), (submitted, "submitted")):
        with pytest.raises(Refused, match=f"{job.point.tag} already has a job that is {words}"):
            jobs.plan(job.point, technician=None, by=planner)
    assert not LedgerEntry.objects.filter(act="plan job").exists()


def test_only_a_planner_plans_and_only_for_a_technician(planner, technician, auditor):
    point = an_equipped_point()
    with pytest.raises(NotAllowed):
        jobs.plan(point, technician=None, by=technician)
    with pytest.raises(Refused, match="no technician at this site") as refusal:
        jobs.plan(point, technician=auditor, by=planner)
    assert refusal.value.field == "technician"
    assert not Job.objects.exists()


# ---- taken in hand ----
def test_a_technician_takes_the_planned_job_with_its_cause(planner, technician):
    point = an_equipped_point()
    planned = jobs.plan(point, why="after repair", technician=None, note="seal", by=planner)
    job = jobs.start(point, by=technician)
    job.refresh_from_db()
    assert job.pk == planned.pk
    assert (job.state, job.why, job.technician) == ("in hand", "after repair", technician)
    entry = entry_of("take job")
    assert (entry.person, entry.details["state"]) == (technician, "in hand")


def test_a_job_without_a_plan_is_due_when_its_point_is(technician):
    job = jobs.start(an_equipped_point(due_on=TOMORROW), why="request", by=technician)
    job.refresh_from_db()
    assert (job.state, job.why, job.due_on) == ("in hand", "request", TOMORROW)


def test_taking_one_s_own_job_again_enters_nothing(technician):
    job = a_job(by=technician)
    assert jobs.start(job.point, by=technician) == job
    assert LedgerEntry.objects.filter(act="take job").count() == 1


def test_a_job_planned_for_somebody_else_may_be_taken(planner, technician, second_technician):
    point = an_equipped_point()
    jobs.plan(point, technician=second_technician, by=planner)
    assert jobs.start(point, by=technician).technician == technician


def test_a_job_in_other_hands_is_not_taken(technician, second_technician):
    job = a_job(by=technician)
    with pytest.raises(Refused, match="Quillane has LT-101A in hand") as refusal:
        jobs.start(job.point, by=second_technician)
    assert refusal.value.field == "technician"
    job.refresh_from_db()
    assert job.technician == technician


def test_a_job_in_hand_of_nobody_may_be_taken(technician, second_technician):
    job = a_job(by=second_technician)
    Job.objects.update(technician=None)
    assert jobs.start(job.point, by=technician).technician == technician


def test_a_job_whose_record_waits_is_not_taken_even_by_its_technician(technician):
    record = a_record(by=technician)
    with pytest.raises(Refused, match="LT-101A has a record waiting for approval"):
        jobs.start(record.point, by=technician)


def test_a_returned_job_stays_returned_until_its_new_record_is_sent(
    technician, second_technician, approver
):
    record = a_record(by=technician)
    approval.send_back(record, reason="dip is missing", by=approver, at=NOON)
    job = jobs.start(record.point, by=second_technician)
    job.refresh_from_db()
    assert (job.state, job.technician) == ("returned", second_technician)


@pytest.mark.django_db(transaction=True)
def test_of_two_technicians_who_start_at_once_one_has_the_job(technician, second_technician):
    for tag in ("LT-1", "LT-2", "LT-3", "LT-4", "LT-5", "LT-6"):
        point = an_equipped_point(tag)
        refused, done = outcomes(
            lambda point=point: jobs.start(point, by=technician),
            lambda point=point: jobs.start(point, by=second_technician),
        )
        assert done == "done"
        assert f"has {tag} in hand" in refused
        assert Job.objects.filter(point=point).count() == 1


# ---- handed over ----
def test_a_handed_over_job_keeps_its_state_and_says_from_whom_to_whom(
    planner, technician, second_technician
):
    job = jobs.hand_over(a_job(by=technician), to=second_technician, why="leave", by=planner)
    job.refresh_from_db()
    assert (job.technician, job.state) == (second_technician, "in hand")
    entry = entry_of("hand over job")
    assert (entry.person, entry.why) == (planner, "leave")
    assert entry.details == {"from": "T. Quillane", "to": "R. Ostervane"}


def test_a_job_of_nobody_is_handed_over_from_nobody(planner, technician):
    job = jobs.plan(an_equipped_point(), technician=None, by=planner)
    jobs.hand_over(job, to=technician, by=planner)
    assert entry_of("hand over job").details["from"] == "nobody"


# ---- cancelled ----
def test_a_cancelled_job_leaves_its_round_and_says_why(planner, technician):
    point = an_equipped_point()
    stop = a_round([point], technician=technician, by=planner).stops.get()
    job = jobs.cancel(stop, why="tank is empty", by=planner)
    job.refresh_from_db()
    assert (job.state, job.round, job.stop_number) == ("cancelled", None, None)
    entry = entry_of("cancel job")
    assert (entry.person, entry.why) == (planner, "tank is empty")
    assert entry.details["state"] == "cancelled"


def test_a_job_is_cancelled_with_a_reason_and_while_it_is_open(planner, technician, approver):
    record = a_record(by=technician)
    with pytest.raises(Refused, match="LT-101A is submitted; only an open job can be cancelled"):
        jobs.cancel(record.job, why="no", by=planner)
    approval.send_back(record, reason="dip is missing", by=approver, at=NOON)
    with pytest.raises(Refused, match="Say why") as refusal:
        jobs.cancel(record.job, why=" ", by=planner)
    assert refusal.value.field == "why"
    assert jobs.cancel(record.job, why="done by another", by=planner).state == "cancelled"
