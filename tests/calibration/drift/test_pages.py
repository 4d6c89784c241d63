"""Steps that ask for a cause: who sees them, who answers, and that nothing typed is lost."""

import pytest
from django.urls import reverse

from calibration.drift import acts as steps
from calibration.drift.models import JumpQuestion
from calibration.fleet.models import FleetRun
from plant.ledger.models import LedgerEntry
from tests.calibration.fleet.test_acts import recorded_point
from tests.makers import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def question(site):
    point = recorded_point("LT-201", [0.0, 0.05, 0.1, 0.75, 0.8, 0.85])
    record = point.records.get(done_on__year=2023)
    return JumpQuestion.objects.create(
        site=point.site, point=point, record=record, end="zero", size_percent=0.6, chance=0.0003,
        kind="step", raised_at=NOON,
    )  # fmt: skip


def test_the_list_leads_to_what_does_not_fit(question, planner, sign_in):
    page = sign_in(planner).get(reverse("calibration:steps")).content.decode()
    assert question.get_absolute_url() in page
    assert "+0.60" in page
    assert "no cause yet" in page
    answered = sign_in(planner).get(reverse("calibration:steps"), {"state": "answered"})
    assert "No jumps" in answered.content.decode()


def test_one_shows_its_drift_and_the_point_asks_too(question, technician, sign_in):
    client = sign_in(technician)
    page = client.get(question.get_absolute_url()).content.decode()
    assert "Error at zero, as it stood" in page
    assert "a new level; the rate continues" in page
    assert "new level" in page
    point = client.get(question.point.get_absolute_url()).content.decode()
    assert "What happened?" in point
    assert question.get_absolute_url() in point


def test_an_answer_is_noted_with_who_gave_it(question, technician, sign_in):
    client = sign_in(technician)
    typed = {"cause": "repair", "text": "New head after the flood, order 12."}
    answer = client.post(question.get_absolute_url(), typed, follow=True)
    page = answer.content.decode()
    assert "The cause is noted" in page
    assert "New head after the flood" in page
    assert "a new segment with its own rate" in page
    assert "What happened?" not in client.get(question.point.get_absolute_url()).content.decode()


def test_what_was_typed_stays_when_something_is_missing(question, technician, sign_in):
    answer = sign_in(technician).post(question.get_absolute_url(), {"cause": "", "text": "seen it"})
    assert answer.status_code == 422
    assert "seen it" in answer.content.decode()


def test_an_auditor_reads_and_does_not_answer(question, auditor, sign_in):
    client = sign_in(auditor)
    assert "Record the cause" not in client.get(question.get_absolute_url()).content.decode()
    assert (
        client.post(question.get_absolute_url(), {"cause": "repair", "text": "x"}).status_code
        == 403
    )


def test_two_who_answer_leave_the_later_word_and_both_in_the_ledger(question, planner, technician):
    steps.answer(question, cause="surge", text="storm", by=planner, at=NOON)
    steps.answer(question, cause="repair", text="no, the head was changed", by=technician, at=NOON)
    question.refresh_from_db()
    assert (question.cause, question.answered_by) == ("repair", technician)
    entries = LedgerEntry.objects.filter(act="answer step").order_by("id")
    assert [entry.details.get("was") for entry in entries] == [None, "surge"]


def test_a_planner_has_everything_computed_again(question, planner, sign_in):
    answer = sign_in(planner).post(reverse("calibration:fleet_again"))
    assert answer.status_code == 302
    assert FleetRun.objects.get().finished_at is None  # the worker takes it up
