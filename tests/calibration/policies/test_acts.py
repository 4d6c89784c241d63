"""Policies: an approver says how results are judged and intervals chosen, with a reason, for a duty
or a point.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from calibration.policies import acts as policies
from calibration.policies.acts import POLICY_FIELDS
from calibration.policies.models import Policy
from calibration.policies.refusals import NoOwnPolicy, NoReason, NothingChanged, UnknownDuty
from plant.ledger.models import LedgerEntry
from plant.refusals import NotAllowed, Refused
from plant.saving import Stale, mark_of
from tests import makers
from tests.races import at_once

GUARD = {"rule": "guard band", "guard_share": Decimal("0.8")}
WHY = "The insurer asks for guarded results."


def seen(policy: Policy | None = None) -> str:
    return mark_of(policy or Policy(), POLICY_FIELDS)


def for_safety(site, by, values=GUARD, why=WHY, mark=None) -> Policy:
    return policies.set_for_duty(site, "safety", values, seen=mark or seen(), why=why, by=by)


def for_point(point, by, values=GUARD, why=WHY, mark=None) -> Policy:
    mark = mark or seen(Policy.objects.of_point(point))
    return policies.set_for_point(point, values, seen=mark, why=why, by=by)


def test_a_duty_s_policy_holds_for_its_points_and_no_others(site, approver):
    for_safety(site, approver)
    safe, other = makers.a_point("LT-1", duty="safety"), makers.a_point("LT-2", duty="quality")
    assert Policy.objects.of_point(safe).rule_text == "guard band of 0.8 U"
    assert Policy.objects.of_point(other).rule_text == "simple acceptance"


def test_the_ledger_tells_who_why_and_what_changed(site, approver):
    policy = for_safety(site, approver)
    [entry] = LedgerEntry.objects.filter(act="change policy")
    assert (entry.person, entry.why, entry.subject) == (approver, WHY, "policy of safety duty")
    assert entry.subject_id == policy.pk
    assert entry.site_id == site.pk
    assert entry.details == {
        "decision rule": ["simple acceptance", "guard band"],
        "guard band, times U": ["1", "0.8"],
    }


def test_a_second_change_leaves_what_it_does_not_name(site, approver):
    first = for_safety(site, approver)
    for_safety(site, approver, {"target_percent": Decimal(98)}, mark=seen(first))
    held = Policy.objects.get()
    assert (held.rule, held.target_percent) == ("guard band", 98)


@pytest.mark.parametrize("role", ["planner", "technician", "auditor", "administrator", "outsider"])
def test_only_an_approver_changes_a_policy(site, request, role):
    person = request.getfixturevalue(role)
    point = makers.a_point()
    for act in (
        lambda: for_safety(site, person),
        lambda: for_point(point, person),
        lambda: policies.drop_for_point(point, why=WHY, by=person),
    ):
        with pytest.raises(NotAllowed, match="approver"):
            act()
    assert not Policy.objects.exists()


def test_a_policy_needs_a_reason(site, approver):
    with pytest.raises(NoReason) as refusal:
        for_safety(site, approver, why="  ")
    assert refusal.value.field == "why"
    assert not Policy.objects.exists()


def test_a_change_of_nothing_is_refused(site, approver):
    with pytest.raises(NothingChanged):
        for_safety(site, approver, {"rule": "simple acceptance"})


def test_what_breaks_a_rule_is_refused_in_its_words(site, approver):
    with pytest.raises(Refused, match="shortest interval must lie below"):
        for_safety(site, approver, {"shortest_months": 60})
    with pytest.raises(UnknownDuty) as refusal:
        policies.set_for_duty(site, "beauty", GUARD, seen=seen(), why=WHY, by=approver)
    assert refusal.value.duty == "beauty"


def test_an_outdated_form_is_refused(site, approver):
    for_safety(site, approver)
    with pytest.raises(Stale):
        for_safety(site, approver, {"rule": "limited risk"})  # filled from the defaults
    assert Policy.objects.get().rule == "guard band"


def test_a_point_s_own_policy_starts_from_its_duty_s(site, approver):
    for_safety(site, approver)
    point, twin = makers.a_point("LT-1", duty="safety"), makers.a_point("LT-2", duty="safety")
    for_point(point, approver, {"method": "fixed"})
    own = Policy.objects.of_point(point)
    assert (own.rule, own.method, own.point) == ("guard band", "fixed", point)
    assert Policy.objects.of_point(twin).method == "drift"
    entry = LedgerEntry.objects.filter(act="change policy").latest("pk")
    assert (entry.subject, entry.details["holds"]) == ("LT-1", ["as for safety duty", "its own"])


def test_a_point_s_own_policy_outlasts_a_change_of_its_duty_s(site, approver):
    point = makers.a_point(duty="safety")
    for_point(point, approver, {})
    for_safety(site, approver)
    assert Policy.objects.of_point(point).rule == "simple acceptance"


def test_dropping_a_point_s_policy_brings_back_its_duty_s(site, approver):
    point = makers.a_point(duty="safety")
    for_point(point, approver)
    holds = policies.drop_for_point(point, why="As the others.", by=approver)
    assert holds.rule == Policy.objects.of_point(point).rule == "simple acceptance"
    entry = LedgerEntry.objects.filter(act="change policy").latest("pk")
    assert entry.details["decision rule"] == ["guard band", "simple acceptance"]
    with pytest.raises(NoOwnPolicy):
        policies.drop_for_point(point, why="As the others.", by=approver)


def test_dropping_needs_a_reason(approver):
    point = makers.a_point()
    for_point(point, approver)
    with pytest.raises(NoReason):
        policies.drop_for_point(point, why="", by=approver)
    assert Policy.objects.filter(point=point).exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_approvers_at_once_one_is_shown_the_other_s(site, approver):
    """Both filled their form from the defaults; none of the two changes is lost unseen."""
    other = makers.a_person("second", "approver")
    first, second = at_once(
        lambda: for_safety(site, approver, GUARD),
        lambda: for_safety(site, other, {"method": "fixed"}),
    )
    assert sorted([type(first), type(second)], key=str) == [Policy, Stale]
    assert LedgerEntry.objects.filter(act="change policy").count() == 1
