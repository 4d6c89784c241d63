"""Where a person's day begins; for planners the due list and the work of the year ahead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.due import reads as listing
from calibration.due.forms import STATES, DueFilter
from calibration.due.tables import columns
from calibration.pages import Address, require_sight
from calibration.reminders.models import Digest, ReminderScan
from calibration.tablet.models import FieldWork
from plant.pages.paging import Page, page_of
from plant.pages.requests import SignedRequest
from plant.people.models import Person
from plant.people.roles import Role
from plant.points.models import MeasuringPoint
from plant.sites.models import Area, Site
from plant.transmitters.models import Principle

Days = Mapping[int, dt.date]  # the day at each site by its own clock


@require_safe
def due(request: SignedRequest) -> HttpResponse:
    """The due list: counts by state, the year's work, and the points that the filter leaves."""
    require_sight(request.user)
    person, now = request.user, timezone.now()
    sites = _sites_of(person, at=now)
    form = DueFilter(request.GET)
    is_understood = form.is_valid()
    chosen = {name: value for name, value in form.cleaned_data.items() if value}
    shown = [site for site in sites if chosen.get("site") in (None, site.pk)]
    days = {site.pk: site.day_of(now) for site in sites}
    order = listing.ORDERS[chosen.get("sort") or "due"]
    points = listing.points_in(shown, days, chosen)
    page = page_of(points, order, query=request.GET, counts=False)
    context = {
        "sites": sites,
        "shown": shown,
        "today": max(days.values(), default=now.date()),
        "chosen": chosen,
        "not_understood": page.is_misread or not is_understood,
        "rows": listing.rows_of(page.ids, days),
        "plant": FieldWork.objects.waiting_for(person),
        **_rights(person, sites, shown),
        **_counts(request, shown, days, chosen),
        **_work_ahead(request, shown, days),
        **_choices(shown),
        **_links(request, page),
    }
    return render(request, "calibration/due/due.html", context)


def _counts(
    request: SignedRequest, shown: list[Site], days: Days, chosen: dict[str, Any]
) -> dict[str, Any]:
    """Counts by state, each a link; the total; the headings."""
    state = "" if "week" in chosen else chosen.get("state") or "due"
    counts = listing.counts_of({site.pk: days[site.pk] for site in shown})
    address = Address(request.GET)
    return {
        "counts": _count_links(counts, state, address),
        "total": _total(counts, state, chosen),
        "columns": _columns(chosen.get("sort") or "due", address),
    }


def _work_ahead(request: SignedRequest, shown: list[Site], days: Days) -> dict[str, Any]:
    today = max(days.values(), default=timezone.now().date())
    url = Address(request.GET).with_(without="state", week="")
    return {
        "weeks": listing.weeks_ahead((site.pk for site in shown), on=today, url=url),
        "capacity": sum(site.crew_hours for site in shown),
    }


def _choices(shown: list[Site]) -> dict[str, Any]:
    """What the filter offers."""
    return {
        "areas": Area.objects.filter(site__in=shown).order_by("name").values_list("pk", "name"),
        "principles": Principle.choices,
        "duties": MeasuringPoint.Duty.choices,
    }


def _rights(person: Person, sites: list[Site], shown: list[Site]) -> dict[str, Any]:
    """Where the person may act; of the sites they plan for, those whose reminders are held or
    stuck.
    """
    plans = set(person.site_ids("plan"))
    own = [site for site in sites if site.pk in plans]
    return {
        "plans": plans,
        "may_defer": set(person.site_ids("defer")),
        "may_plan": any(site.pk in plans for site in shown),
        "held": [site for site in own if site.reminders_held],  # type: ignore[attr-defined]
        "stuck": [site for site in own if site.mails_stuck],  # type: ignore[attr-defined]
    }


def _links(request: SignedRequest, page: Page) -> dict[str, Any]:
    """Addresses of the other pages of the list, and of this one with every point ticked."""
    address, query = Address(request.GET), request.GET
    return {
        "next_url": page.after and address.with_(after=page.after),
        "previous_url": page.before and address.with_(before=page.before),
        "first_url": address.with_() if page.before else "",
        "tick_all": query.get("tick") == "all",
        "tick_url": address.with_(tick="all", after=query.get("after"), before=query.get("before")),
    }


def _sites_of(person: Person, *, at: dt.datetime) -> list[Site]:
    """The person's sites; each knows whether its reminders need a hand."""
    held = ReminderScan.objects.filter(site=OuterRef("pk"), held=True, released_at=None)
    stuck = Digest.objects.stuck(at=at).filter(site=OuterRef("pk"))
    sites = Site.objects.filter(pk__in=person.site_ids("see"))
    return list(sites.annotate(reminders_held=Exists(held), mails_stuck=Exists(stuck)))


@dataclass(frozen=True)
class CountLink:
    text: str
    number: int
    url: str
    current: bool
    tone: str


def _count_links(counts: listing.Counts, state: str, address: Address) -> list[CountLink]:
    tones = {"overdue": "bad", "soon": "warn"}
    return [
        CountLink(
            STATES[key],
            number,
            address.with_(without="week", state=key),
            current=key == state,
            tone=tones.get(key, "") if number else "",
        )
        for key, number in counts.by_state.items()
    ]


def _columns(sort: str, address: Address) -> list[dict[str, Any]]:
    """Headings; a sortable one links to its order, or to the reverse when that holds."""
    directions = {sort.removeprefix("-"): "descending" if sort.startswith("-") else "ascending"}
    return [
        {
            "text": column.text,
            "number": column.is_number,
            "url": address.with_(sort=f"-{column.order}" if sort == column.order else column.order)
            if column.order
            else "",
            "sorted": directions.get(column.order, ""),
        }
        for column in columns()
    ]


def _total(counts: listing.Counts, state: str, chosen: dict[str, Any]) -> int | None:
    """How many the list holds where the stored counts know it: nothing but state and site narrows
    it.
    """
    if set(chosen) - {"state", "site", "sort", "tick"}:
        return None
    return counts.by_state[state]


# The first of a person's roles decides where the day begins.
FIRST_PAGES = [
    (Role.PLANNER, "calibration:due"),
    (Role.TECHNICIAN, "calibration:jobs"),
    (Role.APPROVER, "calibration:records"),
    (Role.AUDITOR, "calibration:ledger"),
    (Role.ADMINISTRATOR, "plant:people"),
]


@require_safe
def home(request: SignedRequest) -> HttpResponse:
    """Send a person to the page where their work waits."""
    for role, page in FIRST_PAGES:
        if role in request.user.roles:
            return redirect(page)
    return redirect("plant:points")
