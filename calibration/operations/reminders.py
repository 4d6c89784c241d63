"""Reminders: a scan writes them to the outbox once a site and day; a sender empties the outbox by lease.

What is to do stands in the database, so tasks may run twice, late or not at all: nothing is lost and no row is doubled.
A mail handed over just before a kill is sent again, under the same Message-ID.
"""

from __future__ import annotations

import datetime as dt
import logging
import statistics
from collections.abc import Iterable

from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import connection, transaction
from django.db.models import Q

from calibration.documents.digest_mail import digest_mail
from calibration.models import Digest, Reminder, ReminderScan
from plant.ledger import enter
from plant.models import Appointment, Person, Site
from plant.permissions import require
from plant.refusals import Refused

log = logging.getLogger(__name__)

FIRST_RUNG, SECOND_RUNG, STEP = -30, -7, 7
LINE_ABOVE_AFTER = 14  # days over the due date until approvers hear of it
MAILS_A_MINUTE = 60
LEASE = dt.timedelta(minutes=5)
LONGEST_PAUSE = dt.timedelta(hours=1)
USUAL_AT_LEAST, STORM_FACTOR = 50, 3
OUTBOX_LOCK = 727401  # one claim at a time, so that the cap on mails a minute holds for all workers together

NO_MAIL_WANTED = "wants no mail; the list is on the page"
NOTHING_LEFT = "nothing was left to tell"
NO_LONGER_HERE = "no longer has a role at this site"


def rung_on(day: dt.date, due_on: dt.date) -> int | None:
    """The latest rung of the ladder that ``day`` has passed: −30, −7, 0, 7, 14 … days after the due date.

    None before the first. Rungs missed while nothing ran are not made up one by one: the latest stands for all.

    >>> due = dt.date(2026, 5, 31)
    >>> [rung_on(due + dt.timedelta(n), due) for n in (-31, -30, -8, -7, -1, 0, 6, 7, 20)]
    [None, -30, -30, -7, -7, 0, 0, 7, 14]
    """
    days = (day - due_on).days
    if days >= 0:
        return days // STEP * STEP
    if days >= SECOND_RUNG:
        return SECOND_RUNG
    return FIRST_RUNG if days >= FIRST_RUNG else None


# ---- writing ----
def scan(*, at: dt.datetime) -> int:
    """Write the reminders of every site whose morning has come and was not written yet; the number of lines."""
    return sum(scan_site(site, day=day, at=at) or 0 for site, day in sites_awake(at=at))


def sites_awake(*, at: dt.datetime) -> list[tuple[Site, dt.date]]:
    """Sites whose clock has passed the hour of the digest on a day that has not been scanned."""
    awake = []
    for site in Site.objects.all():
        local = at.astimezone(site.zone)
        if local.time() >= site.digest_at:
            awake.append((site, local.date()))
    done = set(
        ReminderScan.objects.filter(day__in={day for _, day in awake}).values_list("site_id", "day")
    )
    return [(site, day) for site, day in awake if (site.pk, day) not in done]


@transaction.atomic
def scan_site(site: Site, *, day: dt.date, at: dt.datetime) -> int | None:
    """Write one site's reminders of ``day``; None where another scan has done so.

    The scan's own row is the gate: whoever inserts it writes the lines, in the same transaction.
    """
    gate = ReminderScan(site=site, day=day, at=at)
    if not ReminderScan.objects.bulk_create([gate], ignore_conflicts=True) or not (
        gate := ReminderScan.objects.filter(site=site, day=day, at=at, lines=0)
        .select_for_update()
        .first()
    ):
        return None
    return gate
