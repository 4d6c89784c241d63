"""Where a person's day begins."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.reminders.heartbeats import turns
from calibration.waiting.home import HOME, first_page
from plant.pages.requests import SignedRequest


@require_safe
def home(request: SignedRequest) -> HttpResponse:
    """Send a person to the page where their work waits; who sees no plant
    has a page here, and is shown what to do.
    """
    page = first_page(request.user)
    if page != HOME:
        return redirect(page)
    administers = bool(request.user.site_ids("manage people"))
    context = {
        "administers": administers,
        "turns": turns(at=timezone.now()) if administers else [],
    }
    return render(request, "calibration/waiting/home.html", context)
