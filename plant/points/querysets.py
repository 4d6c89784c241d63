"""How measuring points are asked for: by service, by status and calendar."""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.db.models import Q

from plant.points.status import (
    BY_CALENDAR,
    IN_DOUBT,
    LATER_DAYS,
    NO_TRANSMITTER,
    NOT_CALIBRATED,
    SOON_DAYS,
)
from plant.sites.querysets import SiteQuerySet


class PointQuerySet(SiteQuerySet):
    def in_service(self) -> Self:
        return self.filter(out_of_service_on=None)

    def in_state(self, state: str, *, on: dt.date) -> Self:
        """``state``: no transmitter, not calibrated, in doubt; where none of these is known
        overdue, soon (30 days), later (31 to 90), in date or deferred; off (out of service); or
        now: what needs somebody.
        """
        soon, later = on + dt.timedelta(SOON_DAYS), on + dt.timedelta(LATER_DAYS)
        if state == "off":
            return self.exclude(out_of_service_on=None)
        in_service = self.in_service()
        points = in_service.filter(condition=BY_CALENDAR)
        undeferred = points.filter(deferred_until=None)
        return {
            "no transmitter": lambda: in_service.filter(condition=NO_TRANSMITTER),
            "not calibrated": lambda: in_service.filter(condition=NOT_CALIBRATED),
            "in doubt": lambda: in_service.filter(condition=IN_DOUBT),
            "now": lambda: in_service.filter(
                Q(condition__lt=BY_CALENDAR)
                | Q(next_due__lt=on)
                | Q(deferred_until=None, next_due__lte=soon)
            ),
            "overdue": lambda: points.filter(next_due__lt=on),
            "soon": lambda: undeferred.filter(next_due__gte=on, next_due__lte=soon),
            "later": lambda: undeferred.filter(next_due__gt=soon, next_due__lte=later),
            "in date": lambda: undeferred.filter(next_due__gt=later),
            "deferred": lambda: points.exclude(deferred_until=None).filter(next_due__gte=on),
        }[state]()
