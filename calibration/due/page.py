"""What stands around the rows of the due list: counts, headings, links, the work of the year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef

from calibration.due import reads as listing
from calibration.due.forms import STATES
from calibration.due.tables import columns
from calibration.due.weeks import WorkWeek, weeks_ahead
from calibration.pages import Address
from calibration.reminders.models import Digest, ReminderScan
from plant.pages.paging import Page
from plant.pages.requests import SignedRequest
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.sites.models import Area, Site
from plant.transmitters.models import Principle

Days = Mapping[int, dt.date]  # the day at each site by its own clock


def sites_seen_by(person: Person, *, at: dt.datetime) -> list[Site]:
    """The person's sites; each knows whether its reminders need a hand."""
    held = ReminderScan.objects.filter(site=OuterRef("pk"), held=True, released_at=None)
    stuck = Digest.objects.stuck(at=at).filter(site=OuterRef("pk"))
    sites = Site.objects.filter(pk__in=person.site_ids("see"))
    return list(sites.annotate(reminders_held=Exists(held), mails_stuck=Exists(stuck)))


def rights(person: Person, sites: list[Site], shown: list[Site]) -> dict[str, Any]:
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


def counts(
    request: SignedRequest, shown: list[Site], days: Days, chosen: dict[str, Any]
) -> dict[str, Any]:
    """Counts by state, each a link; the total; the headings."""
    state = "" if "week" in chosen else chosen.get("state") or "now"
    known = listing.counts_of({site.pk: days[site.pk] for site in shown})
    address = Address(request.GET)
    return {
        "counts": _count_links(known, state, address),
        "total": _total(known, state, chosen),
        "heading": _heading(known, state, chosen),
        "columns": _columns(chosen.get("sort") or "status", address),
    }


@dataclass(frozen=True)
class SiteWork:
    """The work ahead of one site: no hours of two crews are ever added."""

    site: Site
    weeks: list[WorkWeek]
    crew_hours: Decimal


def work_ahead(request: SignedRequest, shown: list[Site], days: Days) -> dict[str, Any]:
    address = Address(request.GET)
    urls = {site.pk: address.with_(without="state", site=site.pk, week="") for site in shown}
    weeks = weeks_ahead({site.pk: days[site.pk] for site in shown}, urls)
    return {"work": [SiteWork(site, weeks[site.pk], site.crew_hours) for site in shown]}


def choices(shown: list[Site]) -> dict[str, Any]:
    """What the filter offers."""
    return {
        "areas": Area.objects.filter(site__in=shown).order_by("name").values_list("pk", "name"),
        "principles": Principle.choices,
        "duties": MeasuringPoint.Duty.choices,
    }


def links(request: SignedRequest, page: Page) -> dict[str, Any]:
    """Addresses of the other pages of the list, and of this one with every point ticked."""
    address, query = Address(request.GET), request.GET
    return {
        "next_url": page.after and address.with_(after=page.after),
        "previous_url": page.before and address.with_(before=page.before),
        "first_url": address.with_() if page.before else "",
        "tick_all": query.get("tick") == "all",
        "tick_url": address.with_(tick="all", after=query.get("after"), before=query.get("before")),
    }


BAD = ("no transmitter", "not calibrated", "in doubt", "overdue")


@dataclass(frozen=True)
class CountLink:
    text: str
    number: int
    url: str
    current: bool
    tone: str


def _count_links(counts: listing.Counts, state: str, address: Address) -> list[CountLink]:
    tones = dict.fromkeys(BAD, "bad") | {"soon": "warn"}
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


def _heading(counts: listing.Counts, state: str, chosen: dict[str, Any]) -> str:
    """What the list holds where no count above it is marked; else ""."""
    if week := chosen.get("week"):
        return f"Week from {day_text(week)}"
    return "" if state in counts.by_state else STATES[state].capitalize()


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
    return counts.by_state.get(state)
