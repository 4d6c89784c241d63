"""The planner's home: what is due, where, how it was found last, and the work of the year ahead."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef
from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.due import reads as listing
from calibration.due.forms import STATES, DueFilter
from calibration.due.tables import columns
from calibration.pages import require_sight
from calibration.reminders.models import Digest, ReminderScan
from calibration.tablet.models import FieldWork
from plant.pages.paging import page_of
from plant.pages.requests import SignedRequest
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.sites.models import Area, Site
from plant.transmitters.models import Principle


@require_safe
def due(request: SignedRequest) -> HttpResponse:
    require_sight(request.user)
    person, now = request.user, timezone.now()
    sites = _sites_of(person, at=now)
    days = {site.pk: site.day_of(now) for site in sites}
    form = DueFilter(request.GET)
    not_understood = not form.is_valid()
    chosen = {name: value for name, value in form.cleaned_data.items() if value}
    shown = [site for site in sites if chosen.get("site") in (None, site.pk)]
    shown_days = {site.pk: days[site.pk] for site in shown}
    sort = chosen.get("sort") or "due"
    points = listing.points_in(shown, days, chosen)
    page = page_of(points, listing.ORDERS[sort], query=request.GET, counts=False)
    counts = listing.counts_of(shown_days)
    today = max(days.values(), default=now.date())
    plans = set(person.site_ids("plan"))
    state = "" if "week" in chosen else chosen.get("state") or "due"
    address = Address(request.GET)
    context = {
        "sites": sites,
        "shown": shown,
        "today": today,
        "chosen": chosen,
        "not_understood": not_understood or page.is_misread,
        "counts": _count_links(counts, state, address),
        "columns": _columns(sort, address),
        "rows": listing.rows_of(page.ids, days),
        "plans": plans,
        "may_defer": set(person.site_ids("defer")),
        "may_plan": any(site.pk in plans for site in shown),
        "tick_all": chosen.get("tick") == "all",
        "tick_url": address.with_(
            tick="all", after=request.GET.get("after"), before=request.GET.get("before")
        ),
        "total": _total(counts, state, chosen),
        "next_url": page.after and address.with_(after=page.after),
        "previous_url": page.before and address.with_(before=page.before),
        "first_url": address.with_() if page.before else "",
        "weeks": listing.weeks_ahead(
            shown_days, on=today, url=address.with_(without="state", week="")
        ),
        "capacity": sum(site.crew_hours for site in shown),
        "areas": Area.objects.filter(site__in=shown).order_by("name").values_list("pk", "name"),
        "principles": Principle.choices,
        "duties": MeasuringPoint.Duty.choices,
        "held": [site for site in sites if site.reminders_held and site.pk in plans],  # type: ignore[attr-defined]
        "plant": FieldWork.objects.waiting_for(person),
        "stuck": [site for site in sites if site.mails_stuck and site.pk in plans],  # type: ignore[attr-defined]
    }
    return render(request, "calibration/due/due.html", context)


def _sites_of(person: Person, *, at: dt.datetime) -> list[Site]:
    """The person's sites; each knows whether its reminders need a hand."""
    held = ReminderScan.objects.filter(site=OuterRef("pk"), held=True, released_at=None)
    stuck = Digest.objects.stuck(at=at).filter(site=OuterRef("pk"))
    sites = Site.objects.filter(pk__in=person.site_ids("see"))
    return list(sites.annotate(reminders_held=Exists(held), mails_stuck=Exists(stuck)))


class Address:
    """Addresses of this list with something changed; a change begins at the first page again."""

    def __init__(self, query: QueryDict) -> None:
        self._kept = query.copy()
        for name in ("after", "before", "tick"):
            self._kept.pop(name, None)

    def with_(self, without: str = "", **changed: Any) -> str:
        query = self._kept.copy()
        query.pop(without, None)
        for name, value in changed.items():
            if value is not None:
                query[name] = str(value)
        return f"?{query.urlencode()}"


@dataclass(frozen=True)
class CountLink:
    text: str
    number: int
    url: str
    current: bool
    tone: str


def _count_links(counts: listing.Counts, state: str, address: Address) -> list[CountLink]:
    numbers = {
        "due": counts.due,
        "overdue": counts.overdue,
        "soon": counts.soon,
        "later": counts.later,
        "in date": counts.in_date,
        "deferred": counts.deferred,
        "off": counts.off,
    }
    tones = {"overdue": "bad", "soon": "warn"}
    return [
        CountLink(
            STATES[key],
            number,
            address.with_(without="week", state=key),
            current=key == state,
            tone=tones.get(key, "") if number else "",
        )
        for key, number in numbers.items()
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
    known = {
        "due": counts.due,
        "overdue": counts.overdue,
        "soon": counts.soon,
        "later": counts.later,
        "in date": counts.in_date,
        "deferred": counts.deferred,
        "off": counts.off,
    }
    return known[state]
