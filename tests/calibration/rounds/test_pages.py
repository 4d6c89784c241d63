"""Rounds on the page: from ticked points to a job sheet."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import timezone

from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.rounds import acts as rounds
from calibration.rounds.models import Round
from plant.points.models import MeasuringPoint
from tests import makers


@pytest.fixture
def points(site) -> list[MeasuringPoint]:
    today = site.day_of(timezone.now())
    tank = makers.a_tank()
    return [
        makers.an_equipped_point(f"LT-{n}", tank=tank, due_on=today, procedure_key="cap-tank")
        for n in (1, 2, 3)
    ]


@pytest.fixture
def made(points, planner, technician) -> Round:
    makers.a_procedure()
    return makers.a_round(
        points, technician=technician, by=planner, ends_on=makers.TODAY, note="Key at the gate."
    )


def facts(technician, points, /, **more) -> dict:
    return {
        "point": [point.pk for point in points],
        "name": "Quay park",
        "technician": technician.pk,
        "starts_on": "2026-11-30",
        "ends_on": "2026-12-04",
        **more,
    }


def test_ticked_points_become_a_round(sign_in, planner, technician, points):
    client = sign_in(planner)
    html = client.get(f"/rounds/new/?point={points[0].pk}&point={points[1].pk}").content.decode()
    assert "2 stops, 3.0 h of work" in html
    answer = client.post("/rounds/new/", facts(technician, points[:2]))
    made = Round.objects.get()
    assert answer.url == made.get_absolute_url()
    assert made.stops.count() == 2
    html = client.get(answer.url).content.decode()
    assert "0 of 2 done" in html


def test_a_refused_round_keeps_what_was_typed(sign_in, planner, technician, points):
    jobs.start(points[1], by=technician)
    answer = sign_in(planner).post("/rounds/new/", facts(technician, points, name="My own name"))
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "LT-2 has a job that is in hand" in html
    assert 'value="My own name"' in html
    assert html.count('type="hidden" name="point"') == 3
    assert not Round.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "", "This field is required"),
        ("starts_on", "soon", "valid date"),
        ("ends_on", "2026-11-01", "cannot be before"),
        ("technician", "999999", "valid choice"),
    ],
)
def test_a_wrong_entry_is_told_beside_its_field(
    sign_in, planner, technician, points, field, value, said
):
    answer = sign_in(planner).post("/rounds/new/", facts(technician, points, **{field: value}))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Job.objects.exists()


def test_no_ticked_point_leads_back_to_the_due_list(sign_in, planner, points):
    for query in ("", "?point=x", "?point=99999999999999999999"):
        assert "No points selected" in sign_in(planner).get(f"/rounds/new/{query}").content.decode()


def test_points_of_another_site_cannot_be_made_a_round(sign_in, outsider, technician, points):
    client = sign_in(outsider)
    assert "No points selected" in client.get(f"/rounds/new/?point={points[0].pk}").content.decode()
    client.post("/rounds/new/", facts(technician, points))
    assert not Round.objects.exists()


def test_the_round_shows_progress_and_prints_a_job_sheet_a_stop(sign_in, technician, made):
    jobs.start(made.stops.first().point, by=technician)
    html = sign_in(technician).get(made.get_absolute_url()).content.decode()
    assert "0 of 3 done" in html
    assert "in hand" in html
    assert html.count("job-sheet") == 3
    assert "Permit in force." in html
    assert "Key at the gate." in html
    assert "12.000" in html  # expected at 50 %
    assert "Up" not in re.sub("[Uu]pdate", "", html)


def test_a_planner_moves_takes_out_and_adds_stops(sign_in, planner, made, site):
    client = sign_in(planner)
    last = made.stops.last()
    client.post(f"/stops/{last.pk}/move/", {"to": "up"})
    assert order(made) == ["LT-1", "LT-3", "LT-2"]
    client.post(f"/stops/{last.pk}/remove/")
    assert order(made) == ["LT-1", "LT-2"]
    makers.an_equipped_point("LT-8", tank=last.point.tank, due_on=site.day_of(timezone.now()))
    html = client.get(made.get_absolute_url()).content.decode()
    assert "LT-8" in html.split("Due in the same areas")[1]
    client.post(f"/rounds/{made.pk}/add/", {"tags": "LT-8, LT-3"})
    assert order(made) == ["LT-1", "LT-2", "LT-3", "LT-8"]


def order(made: Round) -> list[str]:
    return [stop.point.tag for stop in made.stops.order_by("stop_number")]


def test_an_unknown_tag_is_named_and_kept(sign_in, planner, made):
    answer = sign_in(planner).post(f"/rounds/{made.pk}/add/", {"tags": "LT-404"})
    assert answer.status_code == 422
    assert "has the tag LT-404" in answer.content.decode()
    assert 'value="LT-404"' in answer.content.decode()


def test_a_planner_changes_days_and_technician(sign_in, planner, second_technician, made):
    client = sign_in(planner)
    assert "Quay park, week 46" in client.get(f"/rounds/{made.pk}/edit/").content.decode()
    sent = facts(second_technician, [])
    assert client.post(f"/rounds/{made.pk}/edit/", sent).status_code == 302
    assert set(made.stops.values_list("technician", "planned_on")) == {
        (second_technician.pk, dt.date(2026, 11, 30))
    }


def test_only_planners_change_a_round_and_outsiders_see_none(
    sign_in, technician, approver, auditor, outsider, made
):
    stop = made.stops.first()
    changes = [
        f"/rounds/{made.pk}/edit/", f"/rounds/{made.pk}/add/", f"/stops/{stop.pk}/move/", f"/stops/{stop.pk}/remove/",
    ]  # fmt: skip
    for person, expected in ((technician, 403), (approver, 403), (auditor, 403), (outsider, 404)):
        client = sign_in(person)
        assert client.get(made.get_absolute_url()).status_code == (
            404 if person == outsider else 200
        )
        for url in changes:
            assert client.post(url, {"to": "up", "tags": "LT-1"}).status_code == expected, (
                person,
                url,
            )
    assert order(made) == ["LT-1", "LT-2", "LT-3"]


def test_the_round_page_costs_the_same_for_many_stops(
    sign_in, planner, technician, made, django_assert_max_num_queries
):
    client = sign_in(planner)
    with django_assert_max_num_queries(12):
        client.get(made.get_absolute_url())
    rounds.add(made, [makers.a_point(f"LT-2{n}") for n in range(10)], by=planner)
    with django_assert_max_num_queries(12):
        client.get(made.get_absolute_url())


def test_the_list_shows_how_far_each_round_has_come(sign_in, planner, made):
    html = sign_in(planner).get("/rounds/").content.decode()
    assert "Quay park, week 46" in html
    assert "0 of 3 stops" in html
