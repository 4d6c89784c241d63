"""The sites a person sees, with their areas and their day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from plant.people.models import Person
from plant.sites.models import Site


@dataclass(frozen=True)
class Places:
    """The sites a person sees, with their areas and their day, read in one query."""

    sites: dict[int, str]
    areas: list[tuple[int, str]]
    days: dict[int, dt.date]

    @classmethod
    def seen_by(cls, person: Person, at: dt.datetime) -> Places:
        rows = list(
            Site.objects.filter(pk__in=person.site_ids("see"))
            .order_by("name", "areas__name")
            .values_list("pk", "name", "time_zone", "areas__pk", "areas__name")
        )
        sites = {site: name for site, name, *_ in rows}
        several = len(sites) > 1
        areas = [
            (area, f"{name}, {site}" if several else name)
            for _, site, _, area, name in rows
            if area
        ]
        days = {site: at.astimezone(ZoneInfo(zone)).date() for site, _, zone, *_ in rows}
        return cls(sites, areas, days)
