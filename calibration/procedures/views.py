"""Procedures: read by all; what comes with Spanbook is published by an approver."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from calibration.pages import require_sight
from calibration.procedures import acts
from calibration.procedures.delivered import Comparison, compare_all, difference_from_delivered
from calibration.procedures.models import Procedure, ProcedureVersion, SiteWording
from calibration.procedures.refusals import OnlyApprovers
from calibration.procedures.version_change import Change, compare
from plant.pages.requests import SignedRequest
from plant.people.models import Person
from plant.refusals import NotAllowed, Refused


@require_safe
def procedure_list(request: SignedRequest) -> HttpResponse:
    require_sight(request.user)
    procedures = [
        (procedure, next((v for v in procedure.versions.all() if v.published_on), None))
        for procedure in Procedure.objects.prefetch_related("versions")
    ]
    may_edit = bool(request.user.site_ids("publish procedure"))
    context = {
        "procedures": procedures,
        "may_edit": may_edit,
        "standing": compare_all() if may_edit else Comparison(),
    }
    return render(request, "calibration/procedures/procedure_list.html", context)


@require_safe
def procedure(request: SignedRequest, key: str) -> HttpResponse:
    """One procedure: the newest version or ``?version=``, and what changed since ``?against=`` or
    the one before.
    """
    require_sight(request.user)
    row = get_object_or_404(Procedure, key=key)
    versions = [v for v in row.versions.all() if v.published_on]
    shown = _asked(versions, request.GET.get("version", ""))
    if shown is None:
        raise Http404("no such version")
    steps = list(shown.steps.all())
    against, change = _changed(versions, shown, request.GET.get("against", ""))
    own = set(request.user.site_ids("publish procedure"))
    context = {
        "procedure": row,
        "versions": versions,
        "shown": shown,
        "steps": steps,
        "against": against,
        "change": change,
        "is_asked": "against" in request.GET,
        "differing": difference_from_delivered(row) if own and shown == versions[0] else None,
        "may_edit": bool(own),
        "wordings": SiteWording.objects.seen_by(request.user)
        .filter(procedure=row)
        .select_related("site"),
        "keys": {step.key for step in steps},
        "own": own,
    }
    return render(request, "calibration/procedures/procedure.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def delivered(request: SignedRequest) -> HttpResponse:
    """What comes with Spanbook against what is published here; publishes the missing ones."""
    require_approver(request.user)
    if request.method == "POST":
        try:
            new = acts.publish_delivered(by=request.user, on=timezone.now().date())
        except NotAllowed:
            raise
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(request, f"{len(new)} delivered procedures are published.")
        return redirect("calibration:procedures")
    context = {"standing": compare_all()}
    return render(request, "calibration/procedures/procedure_delivered.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def renew(request: SignedRequest, key: str) -> HttpResponse:
    """The delivered text of a procedure against the one here, published as the next version where
    nobody edited it.
    """
    require_approver(request.user)
    row = get_object_or_404(Procedure, key=key)
    refused = ""
    if request.method == "POST":
        based_on = request.POST.get("based_on", "")
        try:
            number = int(based_on) if based_on.isdigit() else 0
            acts.follow_delivered(row, based_on=number, by=request.user, on=timezone.now().date())
            messages.success(
                request,
                "The delivered text is published; jobs begun from now on follow it.",
            )
            return redirect(row)
        except NotAllowed:
            raise
        except Refused as refusal:
            refused = str(refusal)
    context = {
        "procedure": row,
        "differing": difference_from_delivered(row),
        "refused": refused,
    }
    status = 422 if refused else 200
    return render(request, "calibration/procedures/procedure_renew.html", context, status=status)


def _asked(versions: list[ProcedureVersion], number: str) -> ProcedureVersion | None:
    return next((v for v in versions if not number or str(v.number) == number), None)


def _changed(
    versions: list[ProcedureVersion], shown: ProcedureVersion, number: str
) -> tuple[ProcedureVersion | None, Change | None]:
    """The version to compare with, and what changed since; None where there is none."""
    if number:
        against = _asked(versions, number)
        if against is None:
            raise Http404("no such version")
    else:
        against = next((v for v in versions if v.number < shown.number), None)
    if against is None or against == shown:
        return None, None
    return against, compare(against.content, shown.content)


def require_approver(person: Person) -> None:
    require_sight(person)
    if not person.site_ids("publish procedure"):
        raise OnlyApprovers
