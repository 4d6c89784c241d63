"""The outbox: what was written and sent, and each mail as it reads."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from calibration.reminders import acts as reminders
from calibration.reminders.models import Digest, ReminderScan
from calibration.reminders.reads import mail_as_kept
from plant.pages.paging import page_of
from plant.pages.requests import SignedRequest
from plant.people.permissions import require
from plant.refusals import Refused

ORDER = ("-day",)


@require_safe
def outbox(request: SignedRequest) -> HttpResponse:
    """The mails of the person's sites, or their own; the latest first."""
    seen = Digest.objects.seen_by(request.user)
    page = page_of(seen, ORDER, query=request.GET, counts=False)
    shown = seen.filter(pk__in=page.ids).select_related("site", "person")
    plans = request.user.site_ids("plan")
    held = ReminderScan.objects.filter(held=True, released_at=None, site__in=plans)
    context = {
        "digests": shown.annotate(count=Count("lines")).order_by("-day", "-id"),
        "next": page.after,
        "previous": page.before,
        "held": held.select_related("site"),
        "stuck": seen.stuck(at=timezone.now()).exists(),
        "whose": bool(plans or request.user.site_ids("approve")),
    }
    return render(request, "calibration/reminders/outbox.html", context)


@require_safe
def mail(request: SignedRequest, pk: int) -> HttpResponse:
    """One mail as text: as it would read now while it waits, with all its lines once it has
    left.
    """
    seen = Digest.objects.seen_by(request.user).select_related("site", "person")
    digest = get_object_or_404(seen, pk=pk)
    shown = mail_as_kept(digest, at=timezone.now())
    return render(request, "calibration/reminders/mail.html", {"digest": digest, "mail": shown})


@require_POST
def release(request: SignedRequest, pk: int) -> HttpResponse:
    """Let a day's held reminders go."""
    scanned = get_object_or_404(ReminderScan, pk=pk, site__in=request.user.site_ids("see"))
    require(request.user, "plan", scanned.site_id)
    try:
        reminders.release(scanned, by=request.user, at=timezone.now())
        messages.success(request, "The mails go out within minutes.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("calibration:outbox")
