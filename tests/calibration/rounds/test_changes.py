"""A round changed: its stops moved, added and taken out, what the ledger keeps, what is refused."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.rounds import acts as rounds
from calibration.rounds.models import Round
from calibration.rounds.refusals import (
    DaysReversed,
    NoName,
    NoTechnician,
    NothingNew,
    PointsInTheWay,
    SeveralSites,
    StopRemoved,
)
from plant.ledger.models import LedgerEntry
from tests.makers import NOON, TODAY, a_point, a_round, a_site, a_tank, an_equipped_point
from tests.races import outcomes

pytestmark = pytest.mark.django_db

LATER = TODAY + dt.timedelta(7)


@pytest.fixture
def made(planner, technician) -> Round:
    """LT-1, LT-2 and LT-3 in this order."""
    points = [an_equipped_point(tag) for tag in ("LT-1", "LT-2", "LT-3")]
    return a_round(points, technician=technician, by=planner)


def stop(made: Round, tag: str) -> Job:
    return made.stops.get(point__tag=tag)


def tags(made: Round) -> list[str]:
    return list(made.stops.order_by("stop_number").values_list("point__tag", flat=True))


def changed(made: Round, *, by, **more) -> Round:
    facts = {"name": "May", "starts_on": LATER, "ends_on": LATER, "technician": made.technician}
    return rounds.change(made, **(facts | more), by=by)


# ---- planned ----
def test_a_round_keeps_its_name_days_technician_and_note(planner, technician):
    made = a_round(
        [a_point()], technician=technician, by=planner, name=" May ", note=" bring a ladder "
    )
    made.refresh_from_db()
    assert (made.name, made.note) == ("May", "bring a ladder")
    assert (made.starts_on, made.ends_on) == (TODAY, TODAY + dt.timedelta(4))
    assert (made.technician, made.planned_by, made.planned_at) == (technician, planner, NOON)
    entry = LedgerEntry.objects.get(act="plan round")
    assert (entry.person, entry.why) == (planner, "bring a ladder")
    assert entry.details == {
        "days": "2026-11-02 to 2026-11-06",
        "technician": "T. Quillane",
        "stops": ["LT-101A"],
    }


def test_a_round_may_last_one_day_and_needs_a_name(planner, technician):
    facts = {"technician": technician, "by": planner, "ends_on": TODAY}
    assert a_round([a_point("LT-1")], **facts).ends_on == TODAY
    with pytest.raises(NoName) as refusal:
        a_round([a_point("LT-2")], **facts, name="  ")
    assert refusal.value.field == "name"


def test_a_job_that_waits_for_approval_stands_in_the_way(planner, technician):
    point = an_equipped_point()
    job = jobs.start(point, by=technician)
    Job.objects.filter(pk=job.pk).update(state="submitted")
    with pytest.raises(PointsInTheWay) as refusal:
        a_round([point], technician=technician, by=planner)
    assert refusal.value.reasons == ["LT-101A has a job that is submitted"]


# ---- stops ----
def test_a_moved_stop_is_told_with_its_new_place(made, planner):
    moved = rounds.move(stop(made, "LT-1"), up=False, by=planner)
    assert (tags(made), moved.stop_number) == (["LT-2", "LT-1", "LT-3"], 2)
    entry = LedgerEntry.objects.get(act="move stop")
    assert (entry.subject_id, entry.details) == (made.pk, {"tag": "LT-1", "to stop": 2})


@pytest.mark.parametrize(("tag", "up"), [("LT-1", True), ("LT-3", False)])
def test_beyond_either_end_nothing_moves_and_nothing_is_entered(made, planner, tag, up):
    rounds.move(stop(made, tag), up=up, by=planner)
    assert tags(made) == ["LT-1", "LT-2", "LT-3"]
    assert not LedgerEntry.objects.filter(act="move stop").exists()


def test_a_stop_taken_out_meanwhile_neither_moves_nor_goes_twice(made, planner):
    gone = stop(made, "LT-2")
    rounds.remove(stop(made, "LT-2"), by=planner)
    for act in (
        lambda: rounds.move(gone, up=True, by=planner),
        lambda: rounds.remove(gone, by=planner),
        lambda: rounds.remove(Job.objects.get(pk=gone.pk), by=planner),
    ):
        with pytest.raises(StopRemoved) as refusal:
            act()
        assert refusal.value.tag == "LT-2"


def test_a_stop_taken_out_is_nobody_s_and_on_no_day(made, planner):
    rounds.remove(stop(made, "LT-2"), by=planner)
    job = Job.objects.get(point__tag="LT-2")
    assert (job.technician, job.planned_on, job.stop_number) == (None, None, None)
    assert tags(made) == ["LT-1", "LT-3"]


def test_after_a_stop_was_taken_out_the_others_still_move(made, planner):
    rounds.remove(stop(made, "LT-2"), by=planner)
    rounds.move(stop(made, "LT-3"), up=True, by=planner)
    assert tags(made) == ["LT-3", "LT-1"]


def test_a_point_of_another_site_or_a_stop_already_is_not_added(made, planner):
    elsewhere = a_point("LT-9", a_tank(site=a_site("N", "Neelghat")))
    with pytest.raises(SeveralSites):
        rounds.add(made, [elsewhere], by=planner)
    with pytest.raises(NothingNew):
        rounds.add(made, [], by=planner)
    assert len(tags(made)) == 3


@pytest.mark.django_db(transaction=True)
def test_two_planners_who_move_at_once_both_do(made, planner):
    for _ in range(3):
        outcome = outcomes(
            lambda: rounds.move(stop(made, "LT-1"), up=False, by=planner),
            lambda: rounds.move(stop(made, "LT-3"), up=True, by=planner),
        )
        assert outcome == ["done", "done"]
        assert set(tags(made)) == {"LT-1", "LT-2", "LT-3"}


# ---- changed ----
def test_a_changed_round_moves_its_planned_stops(made, planner, second_technician):
    changed(made, name=" May ", note=" rain ", technician=second_technician, by=planner)
    made.refresh_from_db()
    assert (made.name, made.note, made.starts_on) == ("May", "rain", LATER)
    assert set(made.stops.values_list("technician", "planned_on")) == {
        (second_technician.pk, LATER)
    }
    assert LedgerEntry.objects.get(act="change round").details == {
        "days": "2026-11-09 to 2026-11-09",
        "technician": "R. Ostervane",
        "stops that follow": 3,
    }


@pytest.mark.parametrize(
    ("more", "refusal"),
    [
        ({"name": " "}, NoName),
        ({"ends_on": LATER - dt.timedelta(1)}, DaysReversed),
    ],
)
def test_a_change_that_makes_no_round_is_refused(made, planner, more, refusal):
    with pytest.raises(refusal):
        changed(made, **more, by=planner)
    made.refresh_from_db()
    assert made.name == "Quay park, week 46"


def test_a_round_is_given_to_a_technician_only(made, planner, auditor):
    with pytest.raises(NoTechnician) as refusal:
        changed(made, technician=auditor, by=planner)
    assert refusal.value.person == auditor
