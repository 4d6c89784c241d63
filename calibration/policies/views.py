"""One policy, of a duty or of a point, and its change by an approver."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from calibration.policies import acts
from calibration.policies.forms import WORDS, DropForm, PolicyForm
from calibration.policies.models import Policy
from calibration.records.policy_risk import (
    results_of_duty,
    results_of_point,
    risk_of,
    staircase_share,
)
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, sent
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.sites.models import Site

ACT = "change policy"


@form_page
def of_duty(request: SignedRequest, site: int, duty: str) -> HttpResponse:
    """What holds for one duty at one site."""
    place = get_object_or_404(Site.objects.filter(pk__in=request.user.site_ids("see")), pk=site)
    if duty not in MeasuringPoint.Duty.values:
        raise Http404
    policy = Policy.objects.filter(site=place, duty=duty, point=None).first()
    policy = policy or Policy(site=place, duty=duty)
    form = _form(request, request.user, policy, place.pk)

    def store() -> Policy:
        values, why = form.values, form.cleaned_data["why"]
        seen = form.cleaned_data["seen"]
        return acts.set_for_duty(place, duty, values, seen=seen, why=why, by=request.user)

    if accepted(form, store):
        messages.success(request, f"The policy of {duty} duty at {place} is changed.")
        return redirect("calibration:policies")
    return _duty_page(request, form, policy)


def _duty_page(request: SignedRequest, form: PolicyForm, policy: Policy) -> HttpResponse:
    points = MeasuringPoint.objects.in_service().filter(site=policy.site, duty=policy.duty)
    context = {
        "place": policy.site,
        "duty": policy.duty,
        "is_default": policy.pk is None,
        "results": results_of_duty(policy),
        "points": points.count() - points.filter(policy__isnull=False).count(),
    }
    return _page(request, form, policy, context)


@form_page
def of_point(request: SignedRequest, pk: int) -> HttpResponse:
    """What holds for one point: its own policy, or its duty's from which an own one starts."""
    point = _point(request, pk)
    form = _form(request, request.user, *_held(point))

    def store() -> Policy:
        values, why = form.values, form.cleaned_data["why"]
        seen = form.cleaned_data["seen"]
        return acts.set_for_point(point, values, seen=seen, why=why, by=request.user)

    if accepted(form, store):
        messages.success(request, f"{point.tag} has a policy of its own.")
        return redirect(point)
    return _point_page(request, form, DropForm(), point)


@require_POST
def drop(request: SignedRequest, pk: int) -> HttpResponse:
    """Back to the duty's policy."""
    point = _point(request, pk)
    require(request.user, ACT, point.site_id)
    form = DropForm(request.POST)
    if accepted(
        form, lambda: acts.drop_for_point(point, why=form.cleaned_data["why"], by=request.user)
    ):
        messages.success(request, f"{point.tag} follows the policy of {point.duty} duty again.")
        return redirect(point)
    return _point_page(request, PolicyForm(instance=_held(point)[0]), form, point)


def _point(request: SignedRequest, pk: int) -> MeasuringPoint:
    seen = MeasuringPoint.objects.seen_by(request.user).select_related("site")
    return get_object_or_404(seen, pk=pk)


def _held(point: MeasuringPoint) -> tuple[Policy, int]:
    """The policy that holds, as the row a form may change: an own one starts as a copy."""
    held = Policy.objects.of_point(point)
    if held.point_id is None:
        kept = {name: getattr(held, name) for name in acts.POLICY_FIELDS}
        held = Policy(site_id=point.site_id, point=point, **kept)
    return held, point.site_id


def _form(request: SignedRequest, person: Person, policy: Policy, site_id: int) -> PolicyForm:
    if request.method == "POST":
        require(person, ACT, site_id)
    return PolicyForm(sent(request), instance=policy)


def _point_page(
    request: SignedRequest, form: PolicyForm, dropping: DropForm, point: MeasuringPoint
) -> HttpResponse:
    held = Policy.objects.of_point(point)
    context = {
        "point": point,
        "place": point.site,
        "duty": point.duty,
        "dropping": dropping,
        "is_own": held.point_id is not None,
        "is_default": held.pk is None,
        "results": results_of_point(point),
    }
    return _page(request, form, held, context)


def _page(
    request: SignedRequest, form: PolicyForm, held: Policy, context: dict[str, Any]
) -> HttpResponse:
    """Whoever may not change it reads what holds; and all, what it means for the results so far."""
    dropping = context.get("dropping")
    status = 422 if form.is_bound or (dropping and dropping.is_bound) else 200
    is_staircase = held.method == Policy.Method.STAIRCASE
    context |= {
        "form": form,
        "policy": held,
        "rule_words": WORDS[held.rule],
        "method_words": WORDS[held.method],
        "may_change": may(request.user, ACT, context["place"].pk),
    }
    if not form.errors:  # else it holds what was typed, and that may be no policy at all
        context |= {
            "risk": risk_of(held, context["results"]),
            "settles_at": 100 * staircase_share(held) if is_staircase else None,
        }
    return render(request, "calibration/policies/policy.html", context, status=status)
