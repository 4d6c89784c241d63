"""The due list and the work of the year ahead."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.due import reads as listing
from calibration.due.forms import DueFilter
from calibration.due.page import choices, counts, links, rights, sites_seen_by, work_ahead
from calibration.pages import require_sight
from plant.pages.paging import page_of
from plant.pages.requests import SignedRequest


@require_safe
def due(request: SignedRequest) -> HttpResponse:
    """The due list: counts by state, the year's work, and the points that the filter leaves."""
    require_sight(request.user)
    person, now = request.user, timezone.now()
    sites = sites_seen_by(person, at=now)
    form = DueFilter(request.GET)
    is_understood = form.is_valid()
    chosen = {name: value for name, value in form.cleaned_data.items() if value}
    shown = [site for site in sites if chosen.get("site") in (None, site.pk)]
    days = {site.pk: site.day_of(now) for site in sites}
    order = listing.ORDERS[chosen.get("sort") or "status"]
    points = listing.points_in(shown, days, chosen)
    page = page_of(points, order, query=request.GET, counts=False)
    context = {
        "sites": sites,
        "shown": shown,
        "today": max(days.values(), default=now.date()),
        "chosen": chosen,
        "not_understood": page.is_misread or not is_understood,
        "rows": listing.rows_of(page.ids, days),
        **rights(person, sites, shown),
        **counts(request, shown, days, chosen),
        **work_ahead(request, shown, days),
        **choices(shown),
        **links(request, page),
    }
    return render(request, "calibration/due/due.html", context)
