from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from calibration.fleet import acts as fleet
from calibration.tasks import renew_fleet
from plant.pages.requests import SignedRequest
from plant.people.permissions import may
from plant.refusals import NotAllowed
from plant.sites.models import Site


@require_POST
def again(request: SignedRequest) -> HttpResponse:
    """Have all drifts and proposals computed again; progress stands on the page of proposals."""
    sites = Site.objects.filter(pk__in=request.user.site_ids("see"))
    site = next((site for site in sites if may(request.user, "plan", site.pk)), None)
    if site is None:
        raise NotAllowed("Only a planner may have the fleet computed again. Ask one of them.")
    fleet.ask(site, by=request.user, at=timezone.now())
    renew_fleet.delay_on_commit()
    messages.success(request, "All drifts and proposals are being computed again.")
    return redirect("calibration:proposals")
