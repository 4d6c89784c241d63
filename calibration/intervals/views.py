"""The interval of a point, and the proposals to change it: what waits, one with its reasons, the
planner's decision.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.drift.chances import basis_text, chance_text
from calibration.drift.reads import trend_of
from calibration.fleet.models import FleetRun
from calibration.intervals import acts
from calibration.intervals.forms import ChosenForm, DeclineForm, IntervalForm, ProposalFilter
from calibration.intervals.models import Proposal
from calibration.intervals.reads import (
    KNOWN,
    NEWEST,
    WAYS,
    ProposalRow,
    due_after,
    rows_of,
    rows_with,
    waiting,
)
from calibration.intervals.tables import ProposalTable
from calibration.pages import Address, require_sight
from plant.pages.paging import Page, page_of
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, sites_for
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.refusals import Refused
from plant.sites.models import Site

SET = "set interval"
EARLIER_SHOWN = 20
MOST_SHOWN = 50
State = Proposal.State


# ---- the interval of a point ----
@require_http_methods(["GET", "HEAD", "POST"])
def change(request: SignedRequest, pk: int) -> HttpResponse:
    """Change a point's recalibration interval."""
    point = get_object_or_404(MeasuringPoint.objects.seen_by(request.user), pk=pk)
    require(request.user, "set interval", point.site_id)
    form = IntervalForm(request.POST) if request.method == "POST" else IntervalForm.of(point)
    only_shown = "show" in request.POST
    if form.is_bound and form.is_valid() and not only_shown:
        try:
            point = acts.change(point, **form.cleaned_data, by=request.user)
            messages.success(request, f"{point.tag} is now due on {day_text(point.due_on)}.")
            return redirect(point)
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    status = 422 if form.is_bound and not only_shown else 200
    months = form.cleaned_data.get("months") if form.is_bound else None
    context = {
        "point": point,
        "form": form,
        "row": _proposed(request, point),
        **_chances(point, months or point.interval_months),
    }
    return render(request, "calibration/intervals/interval.html", context, status=status)


def _chances(point: MeasuringPoint, months: int) -> dict[str, Any]:
    """When the point would be due with that interval, and the chance that it passes then."""
    trend, due_on = trend_of(point), due_after(point, months)
    chance = chance_text(trend, due_on)
    return {"months": months, "due_after": due_on, "chance": chance, "basis": basis_text(trend)}


def _proposed(request: SignedRequest, point: MeasuringPoint) -> ProposalRow | None:
    """What waits for the point, with its reasons."""
    waiting = Proposal.objects.filter(point=point, state__in=Proposal.WAITING)
    rows = rows_with(waiting.select_related(*KNOWN), by=request.user, at=timezone.now())
    return rows[0] if rows else None


# ---- proposals ----
@require_safe
def listing(request: SignedRequest) -> HttpResponse:
    """What waits for a decision, newest first; and how far the last pass over the fleet has
    come.
    """
    require_sight(request.user)
    person = request.user
    sites = list(Site.objects.filter(pk__in=person.site_ids("see")).order_by("name"))
    form = ProposalFilter(request.GET)
    is_understood = form.is_valid()
    chosen = {name: value for name, value in form.cleaned_data.items() if value}
    shown = [site.pk for site in sites if chosen.get("site") in (None, site.pk)]
    parts = waiting(shown, way=chosen.get("way", ""), agreed_only="waits" in chosen)
    page = page_of(parts, NEWEST, query=request.GET)
    rows = rows_of(page.ids, by=person, at=timezone.now())
    context = {
        "sites": sites,
        "chosen": chosen,
        "ways": WAYS.items(),
        "not_understood": page.is_misread or not is_understood,
        "count": page.count,
        "list": request.GET.urlencode(),
        **_decisions(person, rows),
        **_links(request, page),
        **last_pass(request),
    }
    return render(request, "calibration/intervals/proposals.html", context)


def _decisions(person: Person, rows: list[ProposalRow]) -> dict[str, Any]:
    """The rows, where the person may decide, and what of this page can be accepted."""
    decides = set(person.site_ids(SET))
    return {
        "table": ProposalTable(rows, sort=""),
        "rows": rows,
        "longest": _longest(rows),
        "decides": decides,
        "may_decide": bool(decides),
        "acceptable": [row.pk for row in rows if row.becomes and row.proposal.site_id in decides],
    }


def _links(request: SignedRequest, page: Page) -> dict[str, Any]:
    address = Address(request.GET)
    return {
        "next_url": page.after and address.with_(after=page.after),
        "previous_url": page.before and address.with_(before=page.before),
        "first_url": address.with_() if page.before else "",
    }


def last_pass(request: SignedRequest) -> dict[str, Any]:
    """The last pass over the fleet, and whether this person may ask for another."""
    return {
        "run": FleetRun.objects.first(),
        "may_ask": bool(request.user.site_ids("plan")),
    }


def _longest(rows: list[ProposalRow]) -> int:
    return max((max(row.proposal.months_now, row.proposal.months) for row in rows), default=12)


@require_safe
def one(request: SignedRequest, pk: int) -> HttpResponse:
    return _page(request, _proposal(request, pk), DeclineForm(), 200)


@require_POST
def accept(request: SignedRequest, pk: int) -> HttpResponse:
    proposal = _proposal(request, pk)
    require(request.user, SET, proposal.site_id)
    try:
        done = acts.accept(proposal, by=request.user, at=timezone.now())
    except Refused as refusal:
        messages.error(request, str(refusal))
        return _page(request, _proposal(request, pk), DeclineForm(), 422)
    messages.success(request, _outcome_text(done))
    return _back(request)


@require_POST
def decline(request: SignedRequest, pk: int) -> HttpResponse:
    proposal = _proposal(request, pk)
    require(request.user, SET, proposal.site_id)
    form, now = DeclineForm(request.POST), timezone.now()
    if accepted(form, lambda: acts.decline(proposal, **form.cleaned_data, by=request.user, at=now)):
        messages.success(request, f"{proposal.point.tag} stays as it is.")
        return _back(request)
    return _page(request, _proposal(request, pk), form, 422)


@require_http_methods(["GET", "HEAD", "POST"])
def accept_shown(request: SignedRequest) -> HttpResponse:
    """Name each proposal that was shown and what accepting it does; then accept those that stay
    ticked.
    """
    rows = _shown_rows(request)
    ready = [row for row in rows if row.becomes]
    is_sent = request.method == "POST"
    form = ChosenForm(request.POST if is_sent else None, known=[row.pk for row in ready])
    if form.is_valid():
        chosen = set(form.cleaned_data["p"])
        _accept_all(request, [row.proposal for row in ready if row.pk in chosen])
        return _back(request)
    query = request.POST if is_sent else request.GET
    context = {
        "form": form,
        "ready": ready,
        "left_out": [row for row in rows if not row.becomes],
        "ticked": _ids(request.POST.getlist("p")) if is_sent else {row.pk for row in ready},
        "longest": _longest(rows),
        "list": query.get("list", ""),
    }
    status = 422 if is_sent else 200
    return render(request, "calibration/intervals/proposals_accept.html", context, status=status)


def _shown_rows(request: SignedRequest) -> list[ProposalRow]:
    """The proposals named in the request that still wait where the person may set intervals."""
    sites = sites_for(request, SET)
    is_sent = request.method == "POST"
    sent = request.POST.getlist("shown") if is_sent else request.GET.getlist("p")
    proposals = Proposal.objects.filter(
        pk__in=_ids(sent[:MOST_SHOWN]), site__in=sites, state__in=Proposal.WAITING
    )
    return rows_with(proposals.select_related(*KNOWN), by=request.user, at=timezone.now())


def _ids(texts: Iterable[str]) -> set[int]:
    """What is no id is left out."""
    return {int(text) for text in texts if text.isascii() and text.isdigit() and len(text) <= 18}


def _accept_all(request: SignedRequest, chosen: list[Proposal]) -> None:
    """Each in a transaction and with an entry of its own: one that was decided meanwhile holds up
    no other.
    """
    states = []
    for proposal in chosen:
        try:
            states.append(acts.accept(proposal, by=request.user, at=timezone.now()).state)
        except Refused as refusal:
            messages.error(request, str(refusal))
    accepted, agreed = states.count(State.ACCEPTED), states.count(State.AGREED)
    if accepted:
        messages.success(
            request, f"{accepted} interval{'s are' if accepted > 1 else ' is'} set as proposed."
        )
    if agreed:
        waits = "waits" if agreed == 1 else "wait"
        messages.success(request, f"{agreed} for safety duty now {waits} for an approver.")


def _outcome_text(done: Proposal) -> str:
    tag = done.point.tag
    if done.state == State.AGREED:
        return f"You agreed to {done.months} months for {tag}. An approver must also agree."
    return f"{tag} is calibrated every {done.months} months from now on."


def _back(request: SignedRequest) -> HttpResponse:
    """To the list as it was narrowed; only its query travels, so that no other address can be sent
    along.
    """
    query = request.POST.get("list", "")
    return redirect(f"{reverse('calibration:proposals')}{'?' + query if query else ''}")


def _proposal(request: SignedRequest, pk: int) -> Proposal:
    return get_object_or_404(Proposal.objects.seen_by(request.user).select_related(*KNOWN), pk=pk)


def _page(
    request: SignedRequest, proposal: Proposal, form: DeclineForm, status: int
) -> HttpResponse:
    [row] = rows_with([proposal], by=request.user, at=timezone.now())
    earlier = Proposal.objects.filter(point=proposal.point_id).exclude(pk=proposal.pk)
    context = {
        "row": row,
        "proposal": proposal,
        "point": proposal.point,
        "waits": proposal.state in Proposal.WAITING,
        "longest": _longest([row]),
        "form": form,
        "earlier": earlier.select_related("decided_by")[:EARLIER_SHOWN],
        "may_decide": may(request.user, SET, proposal.site_id),
    }
    return render(request, "calibration/intervals/proposal.html", context, status=status)
