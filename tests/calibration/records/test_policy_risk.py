"""The global risks of a decision rule over the results that a policy covers."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from scipy import integrate, stats

from calibration.policies.models import Policy
from calibration.records.models import Calibration
from calibration.records.policy_risk import results_of_duty, results_of_point, risk_of
from tests.makers import TODAY, an_equipped_point, an_unsaved_record

pytestmark = pytest.mark.django_db

ERRORS = [0.9, -0.7, 0.1, -0.2, 0.6, -1.2, 0.3, 0.8]  # % of span; the tolerance is 1 %


def with_results(point, errors=ERRORS, **more) -> None:
    transmitter = point.installations.get().transmitter
    Calibration.objects.bulk_create(
        an_unsaved_record(
            point,
            TODAY - dt.timedelta(days=30 * n),
            transmitter,
            found_largest=error,
            expanded_percent=0.5,
            coverage_factor=2.0,
            **more,
        )
        for n, error in enumerate(errors)
    )


def shares(mean: float, spread: float, *, guard: float) -> tuple[float, float]:
    """Passed though out, and not passed though in, by integrating over the true errors."""
    limit, u = 1 - guard, 0.25

    def passed(true: float) -> float:
        return stats.norm.cdf(limit, true, u) - stats.norm.cdf(-limit, true, u)

    def density(true: float) -> float:
        return stats.norm.pdf(true, mean, spread)

    outside = sum(
        integrate.quad(lambda e: density(e) * passed(e), *ends)[0] for ends in ((-9, -1), (1, 9))
    )
    inside = integrate.quad(lambda e: density(e) * (1 - passed(e)), -1, 1)[0]
    return outside, inside


@pytest.mark.parametrize(
    ("rule", "guard"),
    [
        ({"rule": "simple acceptance"}, 0.0),
        ({"rule": "guard band", "guard_share": Decimal("0.8")}, 0.4),  # 0.8 U
        (
            {"rule": "limited risk", "risk_percent": Decimal("2.5")},
            stats.norm.ppf(0.975) * 0.25,  # of u
        ),
    ],
)
def test_the_risks_are_those_of_the_chosen_rule(site, rule, guard):
    point = an_equipped_point()
    with_results(point)
    policy = Policy(site=site, duty=point.duty, **rule)
    risk = risk_of(policy, results_of_duty(policy))
    consumer, producer = shares(risk.family.mean, risk.family.spread, guard=guard)
    assert risk.risks.consumer == pytest.approx(consumer, abs=1e-6)
    assert risk.risks.producer == pytest.approx(producer, abs=1e-6)
    assert (risk.family.n, risk.ratio) == (8, pytest.approx(2.0))
    assert risk.family.mean == pytest.approx(sum(ERRORS) / 8)


@pytest.mark.parametrize(
    ("errors", "more"),
    [
        (ERRORS[:2], {}),
        ([0.5] * 5, {}),
        (ERRORS, {"shows_failure": True}),
        (ERRORS, {"state": "submitted", "approved_at": None, "approved_by_name": ""}),
    ],
    ids=["two results", "all the same", "failures", "not approved"],
)
def test_without_enough_results_there_is_no_risk(site, errors, more):
    point = an_equipped_point()
    with_results(point, errors, **more)
    assert risk_of(Policy(site=site, duty=point.duty), results_of_point(point)) is None


def test_a_point_with_its_own_policy_counts_for_itself_only(site):
    own, other = an_equipped_point("LT-201"), an_equipped_point("LT-202")
    for point in (own, other):
        with_results(point)
    Policy.objects.create(site=site, point=own)
    policy = Policy(site=site, duty=own.duty)
    assert risk_of(policy, results_of_duty(policy)).family.n == 8
    assert set(results_of_duty(policy).values_list("point", flat=True)) == {other.pk}
    assert set(results_of_point(own).values_list("point", flat=True)) == {own.pk}


@pytest.mark.parametrize("rule", ["simple acceptance", "guard band"])
def test_the_policy_page_shows_the_risks_with_their_assumptions(sign_in, auditor, site, rule):
    point = an_equipped_point()
    with_results(point)
    policy = Policy.objects.create(site=site, duty=point.duty, rule=rule)
    risk = risk_of(policy, results_of_duty(policy))
    page = sign_in(auditor).get(f"/policies/{site.pk}/{point.duty}/").content.decode()
    text = " ".join(page.split())
    assert f"Of 1,000 results, {risk.false_accepts} pass though out of tolerance" in text
    assert f"{risk.false_rejects} do not pass though in tolerance" in text
    assert "From 8 approved results: mean" in text


def test_the_policy_page_says_where_results_are_too_few(sign_in, approver, site):
    point = an_equipped_point()
    page = sign_in(approver).get(f"/points/{point.pk}/policy/").content.decode()
    assert "Too few results for the global risks" in page


def test_the_policy_page_says_where_a_staircase_settles(sign_in, auditor, site):
    Policy.objects.create(site=site, duty="safety", method="staircase")
    page = " ".join(sign_in(auditor).get(f"/policies/{site.pk}/safety/").content.decode().split())
    assert "the interval settles where 89.3 % are found in tolerance" in page


def test_a_refused_policy_shows_no_risks_of_what_was_typed(sign_in, approver, site):
    with_results(an_equipped_point())
    sent = {"rule": "limited risk", "risk_percent": "80", "method": "staircase"}
    answer = sign_in(approver).post(f"/policies/{site.pk}/general/", sent)
    assert answer.status_code == 422
    assert "What the policy means" not in answer.content.decode()
