"""Proposals on their pages: both intervals and due dates, the reasons, and the planner's and
approver's word.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse

from calibration.fleet.models import FleetRun
from calibration.intervals.models import Proposal
from calibration.policies.models import Policy
from calibration.templatetags.lengths import lengths
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from tests import makers
from tests.makers import NOON

pytestmark = pytest.mark.usefixtures("noon")
REASONS = [
    {"says": "end", "end": "span"},
    {"says": "target", "target": 0.95, "probability": 0.952, "years": 1.5},
    {"says": "rate", "rate": 0.21, "lower": 0.12, "upper": 0.3},
]


def reasoned(point: MeasuringPoint | None = None, months: int = 18, **more) -> Proposal:
    """A proposal with both probabilities and the reasons."""
    facts = {"in_tolerance_now": 0.981, "in_tolerance": 0.952, "reasons": REASONS, **more}
    return makers.a_proposal(point or makers.a_calibrated_point(), months, **facts)


def text(answer) -> str:
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


# ---- set by hand ----
def test_the_chance_is_shown_for_an_interval_before_it_is_set(sign_in, planner):
    point = makers.an_equipped_point()
    ends = ("found_at_zero", "left_at_zero", "found_at_span", "left_at_span")
    makers.past_records(point, *(dict.fromkeys(ends, 0.1 * year) for year in range(5)))
    client, address = sign_in(planner), f"/points/{point.pk}/interval/"
    sent = {"months": 60, "grace_days": 0, "why": "", "show": "chance"}
    shown = client.post(address, sent)
    assert shown.status_code == 200
    chances = [
        re.search(r"With (\d+) months it is due on .* would pass with <strong>([^<]+)", page)
        for page in (text(client.get(address)), text(shown))
    ]
    assert [found[1] for found in chances] == ["12", "60"]
    assert chances[0][2] != chances[1][2]
    assert MeasuringPoint.objects.get().interval_months == 12


# ---- the list ----
def test_a_row_tells_both_intervals_what_limits_chances_and_the_new_due_date(
    sign_in, planner, technician, approver
):
    record = makers.an_approved_record(by=technician, approved_by=approver)
    reasoned(MeasuringPoint.objects.get(pk=record.point_id))
    body = text(sign_in(planner).get("/proposals/"))
    for words in ("LT-101A", "12 → <strong>18</strong>", "98.1 % → <strong>95.2 %</strong>",
                  "2 May 2028", "target 95", "Accept"):  # fmt: skip
        assert words in body
    sentence = "At 18 months the probability that the next"
    assert sentence not in body, "the sentences stand on the page of each"
    assert sentence in text(sign_in(planner).get(Proposal.objects.get().get_absolute_url()))


def test_an_empty_list_says_when_something_comes(sign_in, planner):
    body = text(sign_in(planner).get("/proposals/"))
    assert "No proposals" in body
    assert "have not been computed yet" in body


def test_filters_narrow_to_longer_shorter_and_what_waits_for_an_approver(sign_in, planner):
    reasoned(makers.a_calibrated_point("LT-UP"))
    reasoned(makers.a_calibrated_point("LT-DOWN"), 9)
    reasoned(makers.a_calibrated_point("LT-SAFE", duty="safety"), state="agreed", agreed_by=planner)
    client = sign_in(planner)

    def tags(query: str) -> set[str]:
        body = text(client.get(f"/proposals/{query}"))
        return {tag for tag in ("LT-UP", "LT-DOWN", "LT-SAFE") if tag in body}

    assert tags("") == {"LT-UP", "LT-DOWN", "LT-SAFE"}
    assert tags("?way=longer") == {"LT-UP", "LT-SAFE"}
    assert tags("?way=shorter") == {"LT-DOWN"}
    assert tags("?waits=approver") == {"LT-SAFE"}
    assert "not recognised" in text(client.get("/proposals/?way=sideways"))
    assert "not recognised" in text(client.get("/proposals/?after=x~y"))


def test_what_is_decided_is_not_listed(sign_in, planner):
    reasoned(state="replaced")
    assert "No proposals" in text(sign_in(planner).get("/proposals/"))


def test_pages_follow_one_another_even_where_all_were_made_at_once(sign_in, planner):
    for n in range(60):
        reasoned(makers.a_calibrated_point(f"LT-{n:02}"))
    client = sign_in(planner)
    first = client.get("/proposals/")
    second = client.get(f"/proposals/{first.context['next_url']}")
    seen = [row.point.tag for answer in (first, second) for row in answer.context["rows"]]
    assert len(seen) == len(set(seen)) == 60
    back = client.get(f"/proposals/{second.context['previous_url']}")
    assert [r.pk for r in back.context["rows"]] == [r.pk for r in first.context["rows"]]


def test_the_list_costs_the_same_for_one_and_for_many(sign_in, planner, django_assert_num_queries):
    client = sign_in(planner)
    reasoned(makers.a_calibrated_point("LT-1"))
    with django_assert_num_queries(9):
        client.get("/proposals/")
    for n in range(20):
        reasoned(makers.a_calibrated_point(f"LT-9{n}"))
    with django_assert_num_queries(9):
        client.get("/proposals/")


def test_the_last_pass_is_told_and_one_under_way_shows_its_progress(sign_in, planner, auditor):
    client = sign_in(planner)
    run = FleetRun.objects.create(started_at=NOON, alive_at=NOON, points=40, done=10)
    body = text(client.get("/proposals/"))
    assert '<progress id="pass" max="40" value="10">' in body
    assert "Recompute" not in body
    run.finished_at, run.done, run.proposals = NOON + dt.timedelta(minutes=2), 40, 3
    run.save()
    body = text(client.get("/proposals/"))
    assert "Last computed" in body
    assert "3 proposals" in body
    assert reverse("calibration:fleet_again") in body
    assert reverse("calibration:fleet_again") not in text(sign_in(auditor).get("/proposals/"))


# ---- accepted and declined ----
def test_accepting_in_the_list_goes_back_to_it_as_it_was_narrowed(sign_in, planner):
    one = reasoned()
    answer = sign_in(planner).post(f"/proposals/{one.pk}/accept/", {"list": "way=longer"})
    assert answer["Location"] == "/proposals/?way=longer"
    assert MeasuringPoint.objects.get().interval_months == 18


def test_nobody_is_sent_to_another_address(sign_in, planner):
    one = reasoned()
    answer = sign_in(planner).post(f"/proposals/{one.pk}/accept/", {"list": "//evil.example"})
    assert answer["Location"].startswith("/proposals/?")


def test_who_comes_too_late_sees_what_became_of_it(sign_in, planner):
    one = reasoned()
    client = sign_in(planner)
    client.post(f"/proposals/{one.pk}/accept/")
    answer = client.post(f"/proposals/{one.pk}/accept/")
    assert answer.status_code == 422
    assert "has accepted this proposal for LT-101A already" in text(answer)


def test_declining_asks_why_and_keeps_what_was_typed(sign_in, planner):
    one = reasoned()
    client = sign_in(planner)
    assert client.post(f"/proposals/{one.pk}/decline/", {"why": ""}).status_code == 422
    answer = client.post(f"/proposals/{one.pk}/decline/", {"why": "Only in the shutdown."})
    assert answer.status_code == 302
    assert "Only in the shutdown." in text(client.get(f"/proposals/{one.pk}/"))


def test_safety_duty_shows_who_agreed_and_lets_an_approver_accept(sign_in, planner, approver):
    one = reasoned(makers.a_calibrated_point(duty="safety"))
    client = sign_in(planner)
    assert "Agree to 18 months" in text(client.get(f"/proposals/{one.pk}/"))
    client.post(f"/proposals/{one.pk}/accept/")
    body = text(client.get(f"/proposals/{one.pk}/"))
    assert "an approver must also agree" in body
    assert "/accept/" not in body
    boss = sign_in(approver)
    assert "Accept 18 months" in text(boss.get(f"/proposals/{one.pk}/"))
    boss.post(f"/proposals/{one.pk}/accept/")
    assert MeasuringPoint.objects.get().interval_months == 18


def test_one_proposal_shows_every_reason_and_what_came_before(sign_in, auditor, planner):
    point = makers.a_calibrated_point()
    reasoned(point, 24, state="declined", why="Too long.", decided_by=planner, decided_at=NOON)
    body = text(sign_in(auditor).get(f"/proposals/{reasoned(point).pk}/"))
    for words in ("The upper end of the range", "It drifts by +0.21 % of span a year", "12 → 24", "Too long.",
                  f'href="/points/{point.pk}/"', "A planner decides."):  # fmt: skip
        assert words in body
    assert "<form" not in body.split("<main")[1]


def test_a_shorter_interval_that_has_run_already_says_so(sign_in, planner, technician, approver):
    record = makers.an_approved_record(
        by=technician, approved_by=approver, done_on=dt.date(2026, 3, 1)
    )
    one = reasoned(MeasuringPoint.objects.get(pk=record.point_id), 6)
    body = text(sign_in(planner).get(f"/proposals/{one.pk}/"))
    assert "LT-101A is due immediately" in body
    assert "due immediately" in text(sign_in(planner).get("/proposals/"))


# ---- all that is shown ----
def test_all_shown_are_named_before_any_is_set(sign_in, planner):
    up = reasoned(makers.a_calibrated_point("LT-UP"))
    safe = reasoned(makers.a_calibrated_point("LT-SAFE", duty="safety"))
    beyond = reasoned(makers.a_calibrated_point("LT-FAR", duty="quality"), 48)
    Policy.objects.create(site=up.site, duty="quality", longest_months=36)
    client = sign_in(planner)
    listed = client.get("/proposals/")
    assert sorted(listed.context["acceptable"]) == sorted([up.pk, safe.pk])
    body = text(client.get("/proposals/accept/", {"p": [up.pk, safe.pk, beyond.pk]}))
    assert "Accept 2 proposals" in body
    assert "an approver then decides" in body
    assert "now allows 3 to 36 months" in body
    assert not LedgerEntry.objects.filter(act="accept interval").exists()


def test_only_what_stays_ticked_is_set(sign_in, planner):
    ones = [reasoned(makers.a_calibrated_point(f"LT-{n}")) for n in range(3)]
    safe = reasoned(makers.a_calibrated_point("LT-SAFE", duty="safety"))
    shown = [one.pk for one in (*ones, safe)]
    sent = {"shown": shown, "p": [ones[0].pk, ones[1].pk, safe.pk], "list": "way=longer"}
    answer = sign_in(planner).post("/proposals/accept/", sent, follow=True)
    body = text(answer)
    assert "2 intervals are set as proposed." in body
    assert "1 for safety duty now waits for an approver." in body
    assert answer.redirect_chain == [("/proposals/?way=longer", 302)]
    states = list(Proposal.objects.order_by("id").values_list("state", flat=True))
    assert states == ["accepted", "accepted", "open", "agreed"]
    assert LedgerEntry.objects.filter(act="accept interval").count() == 2


def test_nothing_ticked_and_nothing_of_another_site(sign_in, planner, outsider):
    one = reasoned()
    answer = sign_in(planner).post("/proposals/accept/", {"shown": one.pk})
    assert answer.status_code == 422
    assert "Tick at least one." in text(answer)
    stranger = sign_in(outsider)
    assert "LT-101A" not in text(stranger.get(f"/proposals/accept/?p={one.pk}"))
    stranger.post("/proposals/accept/", {"shown": one.pk, "p": one.pk})
    assert Proposal.objects.get().state == "open"


def test_an_address_with_nonsense_in_it_shows_nothing_to_accept(sign_in, planner):
    body = text(sign_in(planner).get("/proposals/accept/?p=x&p=9999999999999999999999&p=²"))
    assert "Nothing to accept" in body


# ---- beside the form by hand ----
def test_the_interval_by_hand_shows_what_is_proposed(sign_in, planner):
    point = makers.a_calibrated_point()
    client = sign_in(planner)
    assert "Proposed:" not in text(client.get(f"/points/{point.pk}/interval/"))
    one = reasoned(point)
    body = text(client.get(f"/points/{point.pk}/interval/"))
    assert "Proposed: 18 months" in body
    assert "At 18 months the probability that the next" in body
    assert f'href="/proposals/{one.pk}/"' in body


def test_both_lengths_stand_on_one_scale_and_are_told_in_words():
    drawn = lengths(12, 18, 36)
    assert 'aria-label="12 months now, 18 months proposed"' in drawn
    assert 'width="40.0"' in drawn
    assert 'width="60.0"' in drawn
    assert drawn.count("V25") == 4  # a line for each year from 0 to 3
