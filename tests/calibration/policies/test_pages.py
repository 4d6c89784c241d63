"""Policies on their pages: what holds, read by all, changed by an approver."""

from __future__ import annotations

import pytest

from calibration.policies.acts import POLICY_FIELDS
from calibration.policies.models import Policy
from plant.points.models import MeasuringPoint
from plant.saving import mark_of
from tests import makers

WHY = "The insurer asks for it."


def as_sent(policy: Policy | None = None, **changed) -> dict[str, str]:
    """What the form sends for a policy, with some of it changed."""
    held = policy or Policy()
    values = {name: str(getattr(held, name)) for name in POLICY_FIELDS}
    return {**values, "seen": mark_of(held, POLICY_FIELDS), "why": WHY, **changed}


@pytest.fixture
def safety(site) -> str:
    return f"/policies/{site.pk}/safety/"


def test_the_list_tells_defaults_from_what_was_set(sign_in, approver, site):
    Policy.objects.create(site=site, duty="safety", rule="guard band", target_percent=98)
    body = sign_in(approver).get("/policies/").content.decode()
    row = body[body.index("safety") : body.index("custody")]
    assert "guard band of 1 U" in row
    assert "98.0 %" in row
    assert "default" not in row
    assert body.count('<span class="soft">default</span>') == 4
    assert f'href="/policies/{site.pk}/safety/"' in body


def test_points_with_a_policy_of_their_own_are_listed(sign_in, auditor, site):
    point = makers.a_point()
    Policy.objects.create(site=site, point=point, method="fixed")
    body = sign_in(auditor).get("/policies/").content.decode()
    assert f'href="/points/{point.pk}/policy/"' in body
    assert "as set by hand" in body


def test_each_choice_is_explained_beside_it(sign_in, approver, safety):
    body = sign_in(approver).get(safety).content.decode()
    for words in ("is shown but does not decide", "inside the tolerance by r times U", "2.5 %"):
        assert words in body
    assert body.count('type="radio"') == 7


def test_a_policy_says_that_its_risks_leave_one_sided_results_out(sign_in, approver, safety, site):
    few = sign_in(approver).get(safety).content.decode()
    assert "under a tolerance with both limits" in " ".join(few.split())
    point = makers.an_equipped_point(duty="safety")
    facts = {"expanded_percent": 0.1, "coverage_factor": 2.0}
    makers.past_records(
        point,
        *({"found_largest": error} | facts for error in (0.1, 0.2, 0.4)),
        {"found_largest": 9.0, "tolerance_sides": "at most"} | facts,
    )
    page = " ".join(sign_in(approver).get(safety).content.decode().split())
    assert "From 3 approved results" in page
    assert "Results under a one-sided tolerance are left out" in page


def test_an_approver_changes_a_duty(sign_in, approver, safety):
    answer = sign_in(approver).post(safety, as_sent(rule="guard band", guard_share="0.8"))
    assert (answer.status_code, answer["Location"]) == (302, "/policies/")
    assert Policy.objects.get().rule_text == "guard band of 0.8 U"


def test_what_does_not_fit_is_told_beside_its_field_and_kept(sign_in, approver, safety):
    sent = as_sent(rule="guard band", guard_share="3", shortest_months="70", why="Mine.")
    answer = sign_in(approver).post(safety, sent)
    body = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="id_guard_share_error"' in body
    assert 'id="id_shortest_months_error"' in body
    assert "Mine.</textarea>" in body
    assert not Policy.objects.exists()


def test_of_two_forms_filled_at_once_the_later_shows_both(sign_in, approver, safety):
    client = sign_in(approver)
    client.post(safety, as_sent(rule="guard band"))
    answer = client.post(safety, as_sent(method="fixed"))
    body = answer.content.decode()
    assert answer.status_code == 422
    assert "Conflicting changes" in body
    assert Policy.objects.get().method == "drift"


def test_others_read_what_holds_and_find_no_form(sign_in, technician, safety):
    body = sign_in(technician).get(safety).content.decode()
    assert "simple acceptance" in body
    assert "Only an approver" in body
    assert 'type="radio"' not in body


def test_an_unknown_duty_is_not_found(sign_in, approver, site):
    assert sign_in(approver).get(f"/policies/{site.pk}/beauty/").status_code == 404


def test_a_point_gets_its_own_policy_and_goes_back(sign_in, approver):
    point = makers.a_point(duty="safety")
    client, url = sign_in(approver), f"/points/{point.pk}/policy/"
    assert "Follows the policy for" in client.get(url).content.decode()
    assert client.post(url, as_sent(method="fixed")).status_code == 302
    own = Policy.objects.get()
    assert (own.point, own.method, own.duty) == (point, "fixed", "")
    assert "Remove its own policy" in client.get(url).content.decode()
    assert client.post(f"{url}drop/", {"why": ""}).status_code == 422
    assert client.post(f"{url}drop/", {"why": WHY}).status_code == 302
    assert not Policy.objects.exists()


def test_the_list_costs_the_same_with_many_points(
    sign_in, approver, site, django_assert_num_queries
):
    for n in range(12):
        Policy.objects.create(site=site, point=makers.a_point(f"LT-{n}"), method="fixed")
    client = sign_in(approver)
    with django_assert_num_queries(6):
        client.get("/policies/")
    assert MeasuringPoint.objects.count() == 12
