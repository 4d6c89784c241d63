"""Policies of a site: what holds for each duty, and the points with a policy of their own."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from calibration.pages import require_sight
from calibration.policies.models import Policy
from calibration.policies.views import ACT
from plant.pages.paging import page_of
from plant.pages.requests import SignedRequest
from plant.points.models import MeasuringPoint
from plant.sites.models import Site


@require_safe
def listing(request: SignedRequest) -> HttpResponse:
    """Each site's five duties with what holds, and the points with a policy of their own."""
    require_sight(request.user)
    sites = list(Site.objects.filter(pk__in=request.user.site_ids("see")).order_by("name"))
    rows = {
        (row.site_id, row.duty): row for row in Policy.objects.filter(site__in=sites, point=None)
    }
    duties = [
        (site, [_of_duty(rows, site, duty) for duty in MeasuringPoint.Duty.values])
        for site in sites
    ]
    own = Policy.objects.seen_by(request.user).filter(point__isnull=False)
    page = page_of(
        own,
        ["site_id", "point__tag_key"],
        query=request.GET,
        joined=own.select_related("point", "site"),
    )
    context = {
        "duties": duties,
        "page": page,
        "changes": set(request.user.site_ids(ACT)),
        "several": len(sites) > 1,
    }
    return render(request, "calibration/policies/policies.html", context)


def _of_duty(rows: dict[tuple[int, str], Policy], site: Site, duty: str) -> Policy:
    return rows.get((site.pk, duty)) or Policy(site=site, duty=duty)
