"""Rounds: which points join, in which order, and what a change leaves alone."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.rounds import acts as rounds
from calibration.rounds.models import Round
from calibration.rounds.refusals import (
    DaysReversed,
    NoPoints,
    NoTechnician,
    NothingNew,
    NotPlanned,
    PointsInTheWay,
    SeveralSites,
)
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed
from tests import makers
from tests.makers import NOON, TODAY, a_round


def three_points() -> list:
    far = makers.a_tank("T-9", area=makers.an_area(name="West park"))
    near = makers.a_tank("T-10", area=makers.an_area(name="Quay park"))
    return [
        makers.a_point("LT-9", tank=far),
        makers.a_point("LT-10B", tank=near),
        makers.a_point("LT-10A", tank=near),
    ]


def planned(planner, technician, points=None, **more) -> Round:
    return a_round(points or three_points(), technician=technician, by=planner, **more)


def tags(made: Round) -> list[str]:
    return [stop.point.tag for stop in made.stops.order_by("stop_number")]


def test_a_round_makes_one_job_a_point_ordered_by_area_tank_and_tag(planner, technician):
    made = planned(planner, technician)
    assert tags(made) == ["LT-10A", "LT-10B", "LT-9"]
    stop = made.stops.first()
    assert (stop.technician, stop.planned_on, stop.state) == (technician, TODAY, "planned")
    entry = LedgerEntry.objects.get(act="plan round")
    assert entry.details["stops"] == ["LT-10A", "LT-10B", "LT-9"]


def test_a_round_takes_a_planned_job_with_its_cause(planner, technician):
    points = three_points()
    job = jobs.plan(points[0], why=Job.Why.REPAIR, note="new gasket", technician=None, by=planner)
    made = planned(planner, technician, points)
    job.refresh_from_db()
    assert (job.round, job.why, job.note) == (made, "after repair", "new gasket")


def test_a_round_refuses_by_name_every_point_in_the_way(planner, technician, second_technician):
    points = three_points()
    jobs.start(points[0], by=second_technician)
    planned(planner, technician, [points[1]], name="First round")
    with pytest.raises(PointsInTheWay) as refusal:
        planned(planner, technician, points)
    assert {"LT-9 has a job that is in hand", "LT-10B is a stop of “First round”"} <= set(
        refusal.value.reasons
    )
    assert Round.objects.count() == 1


def test_a_round_refuses_a_point_out_of_service(planner, technician):
    point = makers.a_point(out_of_service_on=TODAY, out_of_service_why="tank opened")
    with pytest.raises(PointsInTheWay) as refusal:
        planned(planner, technician, [point])
    assert refusal.value.reasons == ["LT-101A is out of service"]


def test_a_round_stays_within_one_site(planner, technician, outsider):
    elsewhere = makers.a_point("LT-1", tank=makers.a_tank(site=makers.a_site("N")))
    with pytest.raises(SeveralSites):
        planned(planner, technician, [*three_points(), elsewhere])


def test_only_a_planner_of_the_site_plans(technician, outsider):
    for person in (technician, outsider):
        with pytest.raises(NotAllowed):
            planned(person, technician, [makers.a_point(f"LT-{person.pk}")])


def test_a_round_needs_a_technician_of_the_site_and_days_in_order(planner, approver, technician):
    points = three_points()
    with pytest.raises(NoTechnician):
        planned(planner, approver, points)
    with pytest.raises(DaysReversed):
        planned(planner, technician, points, ends_on=TODAY - dt.timedelta(1))
    with pytest.raises(NoPoints):
        rounds.plan(
            [], name="x", starts_on=TODAY, ends_on=TODAY, technician=technician, by=planner, at=NOON
        )


def test_a_stop_moves_up_and_down_and_not_beyond_the_ends(planner, technician):
    made = planned(planner, technician)
    last = made.stops.get(point__tag="LT-9")
    rounds.move(last, up=True, by=planner)
    assert tags(made) == ["LT-10A", "LT-9", "LT-10B"]
    rounds.move(last, up=True, by=planner)
    rounds.move(last, up=True, by=planner)
    assert tags(made) == ["LT-9", "LT-10A", "LT-10B"]
    rounds.move(last, up=False, by=planner)
    assert tags(made) == ["LT-10A", "LT-9", "LT-10B"]
    assert LedgerEntry.objects.filter(act="move stop").count() == 3


def test_a_stop_taken_out_frees_its_point_for_another_round(planner, technician):
    made = planned(planner, technician)
    stop = made.stops.get(point__tag="LT-9")
    rounds.remove(stop, by=planner)
    stop.refresh_from_db()
    assert (stop.state, stop.round) == ("cancelled", None)
    assert tags(made) == ["LT-10A", "LT-10B"]
    again = planned(planner, technician, [stop.point], name="Second round")
    assert tags(again) == ["LT-9"]


def test_a_job_with_another_cause_stays_open_when_taken_out(planner, technician):
    points = three_points()
    job = jobs.plan(points[0], why=Job.Why.PRODUCT_CHANGE, technician=None, by=planner)
    planned(planner, technician, points)
    job.refresh_from_db()
    rounds.remove(job, by=planner)
    job.refresh_from_db()
    assert (job.state, job.round) == ("planned", None)


def test_a_stop_in_hand_cannot_be_taken_out(planner, technician):
    made = planned(planner, technician)
    stop = made.stops.get(point__tag="LT-9")
    jobs.start(stop.point, by=technician)
    with pytest.raises(NotPlanned):
        rounds.remove(stop, by=planner)


def test_stops_are_added_at_the_end(planner, technician):
    made = planned(planner, technician)
    rounds.add(made, [makers.a_point("LT-1")], by=planner)
    assert tags(made)[-1] == "LT-1"
    with pytest.raises(NothingNew):
        rounds.add(made, [made.stops.first().point], by=planner)


def test_planned_stops_follow_a_change_and_one_in_hand_stays(
    planner, technician, second_technician
):
    made = planned(planner, technician)
    jobs.start(made.stops.get(point__tag="LT-9").point, by=technician)
    later = TODAY + dt.timedelta(7)
    rounds.change(
        made,
        name="Later",
        starts_on=later,
        ends_on=later,
        technician=second_technician,
        by=planner,
    )
    who = dict(made.stops.values_list("point__tag", "technician"))
    assert who == {
        "LT-9": technician.pk,
        "LT-10A": second_technician.pk,
        "LT-10B": second_technician.pk,
    }
    assert LedgerEntry.objects.get(act="change round").details["stops that follow"] == 2
