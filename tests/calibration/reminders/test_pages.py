"""The outbox: who sees which mails, and a held morning released."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from calibration.jobs import acts as jobs
from calibration.reminders import acts as reminders
from calibration.reminders import outbox
from calibration.reminders.models import Digest, ReminderScan
from plant.points.models import MeasuringPoint
from tests import makers
from tests.folded import folded


@pytest.fixture
def today(site) -> dt.date:
    return site.day_of(timezone.now())


@pytest.fixture
def written(site, planner, technician, today) -> Digest:
    """A morning's digests: the planner's and the technician's."""
    jobs.plan(makers.a_point(due_on=today), technician=technician, by=planner)
    reminders.scan_site(site, day=today, at=timezone.now())
    return Digest.objects.get(person=planner)


def test_a_waiting_mail_is_shown_as_it_would_read_and_then_as_sent(sign_in, planner, written):
    client = sign_in(planner)
    assert "waiting" in client.get("/outbox/").content.decode()
    html = client.get(written.get_absolute_url()).content.decode()
    assert "LT-101A" in html
    assert written.message_id.strip("<>") in html
    outbox.send_waiting(clock=timezone.now)
    MeasuringPoint.objects.update(tag="LT-NEW", tag_key="lt-new")
    html = client.get(written.get_absolute_url()).content.decode()
    assert "LT-101A" in html  # what left, word for word
    assert "sent" in client.get("/outbox/").content.decode()


def test_everyone_sees_their_own_mails_and_planners_those_of_their_site(
    sign_in, planner, technician, auditor, outsider, written
):
    to_technician = Digest.objects.get(person=technician)
    expected = {
        planner: (200, 200),
        technician: (404, 200),
        auditor: (404, 404),
        outsider: (404, 404),
    }
    for person, (of_planner, of_technician) in expected.items():
        client = sign_in(person)
        assert client.get(written.get_absolute_url()).status_code == of_planner, person
        assert client.get(to_technician.get_absolute_url()).status_code == of_technician, person
    assert "A. Marrowby" not in sign_in(outsider).get("/outbox/").content.decode()
    assert "No reminders yet" in sign_in(auditor).get("/outbox/").content.decode()


def test_a_failed_mail_shows_its_error(sign_in, planner, written):
    late = timezone.now() - dt.timedelta(minutes=20)
    Digest.objects.update(
        last_error="ConnectionRefusedError: no mail server", tries=3, made_at=late
    )
    html = sign_in(planner).get("/outbox/").content.decode()
    assert "no mail server" in html
    assert "more than 15 minutes" in html
    assert "more than 15 minutes" in sign_in(planner).get("/due/").content.decode()


def test_a_planner_releases_a_held_morning(sign_in, planner, technician, outsider, written):
    ReminderScan.objects.update(held=True)
    scanned = ReminderScan.objects.get()
    client = sign_in(planner)
    assert "are on hold" in folded(client.get("/due/"))
    assert "Release" in client.get("/outbox/").content.decode()
    url = f"/outbox/scans/{scanned.pk}/release/"
    assert sign_in(technician).post(url).status_code == 403
    assert sign_in(outsider).post(url).status_code == 404
    assert client.get(url).status_code == 405
    assert outbox.send_waiting(clock=timezone.now) == 0
    assert client.post(url).status_code == 302
    assert outbox.send_waiting(clock=timezone.now) == 2


def test_the_outbox_costs_the_same_however_much_was_written(
    sign_in, site, planner, today, django_assert_max_num_queries
):
    for n in range(60):
        makers.a_person(f"planner{n}", "planner")
    makers.a_point(due_on=today)
    reminders.scan_site(site, day=today, at=timezone.now())
    client = sign_in(planner)
    with django_assert_max_num_queries(12):
        html = client.get("/outbox/").content.decode()
    assert html.count("<tr>") == 51
    assert 'rel="next"' in html


def test_a_place_that_makes_no_sense_shows_the_latest(sign_in, planner, written):
    assert "A. Marrowby" in sign_in(planner).get("/outbox/?after=xyz").content.decode()
