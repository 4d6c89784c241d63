"""Deferrals on the page: asked beside what is known of the risk, decided by an approver."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from calibration.deferrals import acts as deferrals
from calibration.deferrals.models import Deferral
from calibration.drift.chances import chance_text
from calibration.drift.reads import trend_of
from plant.points.models import MeasuringPoint
from tests import makers


@pytest.fixture
def today(site) -> dt.date:
    return site.day_of(timezone.now())


@pytest.fixture
def asked(technician, today) -> Deferral:
    point = makers.an_equipped_point(due_on=today)
    return deferrals.ask(
        point,
        until=today + dt.timedelta(20),
        reason="No full tank.",
        by=technician,
        at=timezone.now(),
    )


def test_a_technician_asks_and_the_approver_grants(sign_in, technician, approver, today):
    point = makers.an_equipped_point(due_on=today)
    until = today + dt.timedelta(20)
    answer = sign_in(technician).post(
        f"/points/{point.pk}/defer/", {"until": until, "reason": "No full tank."}
    )
    assert answer.status_code == 302
    client = sign_in(approver)
    assert "No full tank." in client.get("/deferrals/").content.decode()
    deferral = Deferral.objects.get()
    client.post(f"/deferrals/{deferral.pk}/decide/", {"granted": "yes"})
    assert MeasuringPoint.objects.get().next_due == until
    assert "granted" in client.get("/deferrals/").content.decode()


def a_drifting_point(today):
    point = makers.an_equipped_point(due_on=today)
    ends = ("found_at_zero", "left_at_zero", "found_at_span", "left_at_span")
    makers.past_records(point, *(dict.fromkeys(ends, 0.2 * year) for year in range(5)))
    return point


def test_the_chance_of_passing_is_shown_for_the_day_before_anything_is_asked(
    sign_in, technician, today
):
    point = a_drifting_point(today)
    sent = {"until": today + dt.timedelta(400), "reason": "", "show": "chance"}
    answer = sign_in(technician).post(f"/points/{point.pk}/defer/", sent)
    assert answer.status_code == 200
    page = answer.content.decode()
    chance = chance_text(trend_of(point), sent["until"])
    assert f"<strong>{chance} on" in page
    assert chance != chance_text(trend_of(point), today)
    assert not Deferral.objects.exists()


def test_a_refused_request_keeps_what_was_typed(sign_in, planner, today):
    point = makers.a_point(due_on=today)
    for sent, said in (
        ({"until": today, "reason": "My reason"}, "Choose a day after"),
        ({"until": "soon", "reason": "My reason"}, "valid date"),
        ({"until": today + dt.timedelta(9), "reason": ""}, "required"),
    ):
        answer = sign_in(planner).post(f"/points/{point.pk}/defer/", sent)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert sent["reason"] in answer.content.decode()


def test_the_approver_sees_days_asked_state_and_results(sign_in, approver, technician, asked):
    MeasuringPoint.objects.update(deferred_until=None)
    html = sign_in(approver).get(f"/deferrals/{asked.pk}/decide/").content.decode()
    assert "20 days beyond the due date" in html
    assert "not calibrated" in html
    assert "No result yet" in html
    assert "not known: too few results" in html


def test_a_refusal_without_a_note_is_refused(sign_in, approver, asked):
    answer = sign_in(approver).post(f"/deferrals/{asked.pk}/decide/", {"granted": "no"})
    assert answer.status_code == 422
    assert "Say why it is refused" in answer.content.decode()


def test_who_asked_cannot_decide(sign_in, technician, asked):
    technician.appointments.create(site=asked.site, role="approver", starts_on=makers.LONG_AGO)
    client = sign_in(technician)
    assert (
        "another approver must decide"
        in client.get(f"/deferrals/{asked.pk}/decide/").content.decode()
    )
    answer = client.post(f"/deferrals/{asked.pk}/decide/", {"granted": "yes"})
    assert answer.status_code == 422
    assert "Another person" in answer.content.decode()


def test_roles_and_sites(sign_in, planner, auditor, administrator, outsider, asked):
    ask, decide = f"/points/{asked.point_id}/defer/", f"/deferrals/{asked.pk}/decide/"
    for person, may_ask, may_decide in (
        (planner, 200, 403), (auditor, 403, 403), (administrator, 404, 404), (outsider, 404, 404),
    ):  # fmt: skip
        client = sign_in(person)
        assert client.get(ask).status_code == may_ask, person
        assert client.get(decide).status_code == may_decide, person
    assert "No full tank" not in sign_in(outsider).get("/deferrals/").content.decode()
