"""Reminders: a scan writes them to the outbox, once a site and day.

What is to do stands in the database, so that a scan may run twice, late or not at all: nothing is
lost and no row is doubled.
"""

from __future__ import annotations

import datetime as dt
import statistics

from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Q

from calibration.reminders.lines import write_lines
from calibration.reminders.models import Digest, Reminder, ReminderScan
from calibration.reminders.reads import mail_of
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.refusals import Refused
from plant.sites.models import Site

USUAL_AT_LEAST, STORM_FACTOR = 50, 3


class NotHeld(Refused):
    sentence = "The reminders of {day} are not held any more."


def scan(*, at: dt.datetime) -> int:
    """Write the reminders of every site whose morning has come and is not written yet; returns the
    lines made.

    What fails at one site stops no other: it is raised once all had their turn, so that the task
    counts as failed and the health page shows it.
    """
    lines, faults = 0, []
    for site, day in sites_awake(at=at):
        try:
            lines += scan_site(site, day=day, at=at) or 0
        except Exception as fault:
            fault.add_note(f"reminders of {site}, {day}")
            faults.append(fault)
    if faults:
        raise ExceptionGroup("reminders could not be written at every site", faults)
    return lines


def sites_awake(*, at: dt.datetime) -> list[tuple[Site, dt.date]]:
    """Sites whose own clock has passed the hour of the digest on a day that was not scanned, with
    that day.
    """
    local = [(site, at.astimezone(site.zone)) for site in Site.objects.all()]
    awake = [(site, now.date()) for site, now in local if now.time() >= site.digest_at]
    days = {day for _, day in awake}
    done = set(ReminderScan.objects.filter(day__in=days).values_list("site_id", "day"))
    return [(site, day) for site, day in awake if (site.pk, day) not in done]


@transaction.atomic
def scan_site(site: Site, *, day: dt.date, at: dt.datetime) -> int | None:
    """Write one site's reminders of ``day``, lines and digests; None where that was done before.

    The scan's own row is the gate: whoever gets it in writes the lines, in the same transaction.
    """
    with connection.cursor() as cursor:
        cursor.execute(OPEN_GATE, [site.pk, day, at])
        made = cursor.fetchone()
        if made is None:
            return None
        lines = write_lines(cursor, site, day=day, at=at)
    scanned = ReminderScan.objects.get(pk=made[0])
    scanned.lines, scanned.held = lines, lines > _storm_from(site, day)
    scanned.save(update_fields=["lines", "held"])
    if not scanned.held:
        _join_older(site, day)
    enter("write reminders", on=scanned, by=None, details={"lines": lines, "held": scanned.held})
    return lines


OPEN_GATE = """
    INSERT INTO calibration_reminderscan (site_id, day, at, lines, held)
    VALUES (%s, %s, %s, 0, false)
    ON CONFLICT (site_id, day) DO NOTHING RETURNING id
"""


def _storm_from(site: Site, day: dt.date) -> float:
    """Above this many lines something is odd, a clock that jumped or an import: three times the
    usual, 50 at least.
    """
    month = ReminderScan.objects.filter(site=site, day__lt=day, day__gte=day - dt.timedelta(30))
    usual = statistics.median(month.values_list("lines", flat=True) or [0])
    return max(USUAL_AT_LEAST, STORM_FACTOR * usual)


def _join_older(site: Site, day: dt.date) -> None:
    """After days without mail, one digest each: what never left goes into today's.

    A digest that was claimed and then heard of no more may have left: it is repeated under its own
    Message-ID instead.
    """
    today = dict(
        Digest.objects.filter(site=site, day=day, left_out="").values_list("person_id", "pk")
    )
    older = Digest.objects.waiting().filter(site=site, day__lt=day, person__in=today)
    never_left = older.filter(Q(tries=0) | ~Q(last_error=""))
    for digest in never_left.select_for_update(of=("self",)):
        Reminder.objects.filter(digest=digest).update(digest_id=today[digest.person_id])
        digest.left_out = f"sent with the mail of {day}"
        digest.save(update_fields=["left_out"])


@transaction.atomic
def release(scanned: ReminderScan, *, by: Person, at: dt.datetime) -> ReminderScan:
    """Let a day's held digests go out after all; what is solved by then is left out of them."""
    require(by, "plan", scanned.site_id)
    scanned = ReminderScan.objects.select_for_update().get(pk=scanned.pk)
    if not scanned.held or scanned.released_at:
        raise NotHeld(day=scanned.day)
    scanned.released_by, scanned.released_at = by, at
    scanned.save(update_fields=["released_by", "released_at"])
    enter("release reminders", on=scanned, by=by, details={"lines": scanned.lines})
    return scanned


def preview(site: Site, *, day: dt.date, at: dt.datetime) -> list[tuple[Digest, EmailMessage]]:
    """What goes out for ``day``, written or not; nothing is stored."""
    with transaction.atomic():
        scan_site(site, day=day, at=at)
        digests = Digest.objects.filter(site=site, day=day).select_related("site", "person")
        mails = [(digest, mail_of(digest, at=at)) for digest in digests.order_by("person__name")]
        transaction.set_rollback(True)
    return mails
