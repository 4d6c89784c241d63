"""Procedures, read by all: their list, and one with its versions."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from calibration.pages import require_sight
from calibration.procedures.delivered import Comparison, compare_all, difference_from_delivered
from calibration.procedures.models import Procedure, SiteWording
from calibration.procedures.page import version_shown
from calibration.procedures.refusals import OnlyApprovers
from plant.pages.requests import SignedRequest
from plant.people.models import Person


@require_safe
def procedure_list(request: SignedRequest) -> HttpResponse:
    require_sight(request.user)
    known = Procedure.objects.prefetch_related("versions")
    may_edit = bool(request.user.site_ids("publish procedure"))
    context = {
        "procedures": [(procedure, procedure.newest()) for procedure in known],
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
    own = set(request.user.site_ids("publish procedure"))
    wordings = SiteWording.objects.seen_by(request.user).filter(procedure=row)
    context = version_shown(row, request.GET)
    is_newest = context["shown"] == context["versions"][0]
    context |= {
        "procedure": row,
        "own": own,
        "may_edit": bool(own),
        "wordings": wordings.select_related("site"),
        "differing": difference_from_delivered(row) if own and is_newest else None,
    }
    return render(request, "calibration/procedures/procedure.html", context)


def require_approver(person: Person) -> None:
    require_sight(person)
    if not person.site_ids("publish procedure"):
        raise OnlyApprovers
