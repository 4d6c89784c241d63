"""The hours of work ahead, by site and week, out of the stored counts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, NamedTuple

from django.db import connection

WEEKS = 52


class WorkWeek(NamedTuple):
    """One week of the workload picture."""

    starts_on: dt.date
    hours: float
    points: int
    url: str = ""


WEEK_SUMS = """
    SELECT s.id, greatest((c.next_due - s.monday) / 7, 0) * (c.next_due >= s.monday)::int AS week,
        sum(c.hours)::float, sum(c.points)
    FROM unnest(%(sites)s::bigint[], %(mondays)s::date[]) AS s (id, monday)
    JOIN plant_duecount c ON c.site_id = s.id AND c.next_due < s.monday + %(days)s
    GROUP BY 1, 2
"""


def weeks_ahead(
    days: Mapping[int, dt.date], urls: Mapping[int, str] | None = None
) -> dict[int, list[WorkWeek]]:
    """Hours and points of each site (id to its own day) by week, for a year from that week's
    Monday; what is overdue is work of this week. One query.

    urls: the address of a site's week, but for the day.
    """
    mondays = {site: day - dt.timedelta(day.weekday()) for site, day in days.items()}
    params: dict[str, Any] = {
        "sites": list(mondays),
        "mondays": list(mondays.values()),
        "days": 7 * WEEKS,
    }
    with connection.cursor() as cursor:
        cursor.execute(WEEK_SUMS, params)
        sums = {(site, week): sums for site, week, *sums in cursor.fetchall()}
    return {
        site: [
            _week(monday, n, *sums.get((site, n), (0.0, 0)), url=(urls or {}).get(site, ""))
            for n in range(WEEKS)
        ]
        for site, monday in mondays.items()
    }


def _week(monday: dt.date, n: int, hours: float, points: int, *, url: str) -> WorkWeek:
    starts_on = monday + dt.timedelta(7 * n)
    return WorkWeek(starts_on, hours, points, f"{url}{starts_on}" if points else "")
