"""Reminders: a scan writes them to the outbox, once a site and day; a sender empties the outbox by
lease.

What is to do stands in the database, so tasks may run twice, late or not at all: nothing is lost
and no row is doubled. A mail handed over just before a kill is sent again, under the same
Message-ID.
"""

from __future__ import annotations

import datetime as dt
import logging
import statistics
from collections.abc import Callable, Iterable
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import connection, transaction
from django.db.models import F, Q

from calibration.jobs.models import Job
from calibration.reminders.mail import digest_mail
from calibration.reminders.models import Digest, Reminder, ReminderScan
from plant.ledger.writer import enter
from plant.people.models import Appointment, Person
from plant.people.permissions import require
from plant.refusals import Refused
from plant.sites.models import Site

log = logging.getLogger(__name__)

FIRST_RUNG, SECOND_RUNG, STEP = -30, -7, 7
LINE_ABOVE_AFTER = 14  # days over the due date from which approvers hear of it
MAILS_A_MINUTE = 60
LEASE = dt.timedelta(minutes=5)
LONGEST_PAUSE = dt.timedelta(hours=1)
USUAL_AT_LEAST, STORM_FACTOR = 50, 3
OUTBOX_LOCK = (
    727401  # one claim at a time: the cap on mails a minute holds for all workers together
)

NO_MAIL_WANTED = "wants no mail; the list is on this page"
NOTHING_LEFT = "nothing was left to tell"
NO_LONGER_HERE = "no longer has a role at this site"


def rung_on(day: dt.date, due_on: dt.date) -> int | None:
    """The latest rung of the ladder that ``day`` has passed: −30, −7, 0, 7, 14 … days after the due
    date.

    None before the first. Rungs passed while nothing ran are not made up one by one: the latest
    stands for all.

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
    """Write the reminders of every site whose morning has come and is not written yet; returns the
    lines made.
    """
    return sum(scan_site(site, day=day, at=at) or 0 for site, day in sites_awake(at=at))


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
        found = cursor.fetchone()
        if found is None:
            return None
        cursor.execute(WRITE_LINES, _facts(site, day, at))
        lines = cursor.rowcount
    scanned = ReminderScan.objects.get(pk=found[0])
    scanned.lines, scanned.held = lines, lines > _storm_from(site, day)
    scanned.save(update_fields=["lines", "held"])
    if not scanned.held:
        _join_older(site, day)
    enter("write reminders", on=scanned, by=None, details={"lines": lines, "held": scanned.held})
    return lines


OPEN_GATE = """
    INSERT INTO calibration_reminderscan (site_id, day, at, lines, held) VALUES (%s, %s, %s, 0, false)
    ON CONFLICT (site_id, day) DO NOTHING RETURNING id
"""
WRITE_LINES = """
    WITH due AS (
        SELECT p.id AS point_id, p.next_due AS due_on,
            CASE WHEN d.days >= 0 THEN d.days / %(step)s * %(step)s
                 WHEN d.days >= %(second)s THEN %(second)s ELSE %(first)s END AS rung
        FROM plant_measuringpoint p, LATERAL (SELECT %(day)s::date - p.next_due AS days) d
        WHERE p.site_id = %(site)s AND p.out_of_service_on IS NULL AND p.next_due <= %(day)s::date - %(first)s
    ),
    in_force AS (
        SELECT a.person_id, a.role, CASE WHEN x.wants_mail AND x.email <> '' THEN '' ELSE %(no_mail)s END AS left_out
        FROM plant_appointment a JOIN plant_person x ON x.id = a.person_id AND x.is_active
        WHERE a.site_id = %(site)s AND a.starts_on <= %(day)s AND coalesce(a.ends_on, %(day)s) >= %(day)s
    ),
    told AS (
        SELECT due.*, f.person_id FROM due
        JOIN in_force f ON f.role = 'planner' OR (f.role = 'approver' AND due.rung >= %(line_above)s)
        UNION
        SELECT due.*, j.technician_id FROM due
        JOIN calibration_job j ON j.point_id = due.point_id AND j.state = ANY(%(open_states)s)
        JOIN in_force f ON f.person_id = j.technician_id
    ),
    fresh AS (
        SELECT t.* FROM told t WHERE NOT EXISTS (
            SELECT FROM calibration_reminder r WHERE r.point_id = t.point_id AND r.due_on = t.due_on
                AND r.rung = t.rung AND r.person_id = t.person_id)
    ),
    digests AS (
        INSERT INTO calibration_digest (site_id, person_id, day, message_id, made_at, tries, last_error, left_out,
            subject, body)
        SELECT %(site)s, f.person_id, %(day)s, format(%(message_id)s, f.person_id), %(at)s, 0, '',
            max(f.left_out), '', ''
        FROM in_force f WHERE f.person_id IN (SELECT person_id FROM fresh) GROUP BY f.person_id
        ON CONFLICT (person_id, site_id, day) DO NOTHING RETURNING id, person_id
    )
    INSERT INTO calibration_reminder (site_id, point_id, due_on, rung, person_id, digest_id)
    SELECT %(site)s, fresh.point_id, fresh.due_on, fresh.rung, fresh.person_id, digests.id
    FROM fresh JOIN digests ON digests.person_id = fresh.person_id
    ON CONFLICT (point_id, due_on, rung, person_id) DO NOTHING
"""


def _facts(site: Site, day: dt.date, at: dt.datetime) -> dict[str, Any]:
    host = urlsplit(settings.PUBLIC_URL).hostname or "spanbook.invalid"
    return {
        "site": site.pk,
        "day": day,
        "at": at,
        "first": FIRST_RUNG,
        "second": SECOND_RUNG,
        "step": STEP,
        "line_above": LINE_ABOVE_AFTER,
        "open_states": list(Job.OPEN),
        "no_mail": NO_MAIL_WANTED,
        "message_id": f"<due-{day}-site-{site.pk}-person-%s@{host}>",
    }


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
        digest.left_out = f"told in the mail of {day}"
        digest.save(update_fields=["left_out"])


@transaction.atomic
def release(scanned: ReminderScan, *, by: Person, at: dt.datetime) -> ReminderScan:
    """Let a day's held digests go out after all; what is solved by then is left out of them."""
    require(by, "plan", scanned.site_id)
    scanned = ReminderScan.objects.select_for_update().get(pk=scanned.pk)
    if not scanned.held or scanned.released_at:
        raise Refused(f"The reminders of {scanned.day} are not held any more.")
    scanned.released_by, scanned.released_at = by, at
    scanned.save(update_fields=["released_by", "released_at"])
    enter("release reminders", on=scanned, by=by, details={"lines": scanned.lines})
    return scanned


# ---- sending ----
@transaction.atomic
def claim_waiting(*, limit: int = MAILS_A_MINUTE, at: dt.datetime) -> list[Digest]:
    """Lease up to ``limit`` waiting digests; a lease that runs out makes its digest claimable
    again.

    All workers together get at most MAILS_A_MINUTE. Those that failed before come last.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [OUTBOX_LOCK])
    in_hand = Q(sent_at=None, left_out="", last_error="", claimed_until__gt=at)
    spent = Digest.objects.filter(Q(sent_at__gt=at - dt.timedelta(minutes=1)) | in_hand).count()
    room = min(limit, MAILS_A_MINUTE - spent)
    if room <= 0:
        return []
    free = Digest.objects.waiting().filter(Q(claimed_until=None) | Q(claimed_until__lte=at))
    claimed = list(
        free.select_for_update(skip_locked=True, of=("self",))
        .select_related("site", "person")
        .order_by("tries", "made_at", "id")[:room]
    )
    for digest in claimed:
        digest.claimed_until, digest.tries, digest.last_error = at + LEASE, digest.tries + 1, ""
    Digest.objects.filter(pk__in=[digest.pk for digest in claimed]).update(
        claimed_until=at + LEASE, tries=F("tries") + 1, last_error=""
    )
    return claimed


def send_waiting(*, clock: Callable[[], dt.datetime], limit: int = MAILS_A_MINUTE) -> int:
    """Claim what waits and send it, outside any transaction; the number of mails that left."""
    claimed = claim_waiting(limit=limit, at=clock())
    return deliver_all(claimed, clock=clock) if claimed else 0


def deliver_all(claimed: Iterable[Digest], *, clock: Callable[[], dt.datetime]) -> int:
    """Send over one connection; stops before the lease runs out, and the rest is claimed again
    later.
    """
    backend = get_connection()
    left = 0
    try:
        for digest in claimed:
            if digest.claimed_until and clock() > digest.claimed_until - LEASE / 2:
                break
            left += deliver(digest, backend=backend, at=clock())
    finally:
        backend.close()
    return left


def deliver(digest: Digest, *, backend: BaseEmailBackend, at: dt.datetime) -> bool:
    """Send one leased digest and note it; an error is kept on its row for the next try and raised
    to nobody.
    """
    reason = _why_not(digest, at=at)
    if reason:
        _settle(digest, left_out=reason)
        return False
    mail = mail_of(digest, at=at)
    try:
        backend.send_messages([mail])
    except Exception as error:  # whatever one address or the server does, the others are still sent
        log.warning("digest %s not sent: %s", digest.pk, error)
        pause = min(dt.timedelta(minutes=2**digest.tries), LONGEST_PAUSE)
        said = f"{type(error).__name__}: {error}"[:500]
        _settle(digest, last_error=said, claimed_until=at + pause)
        return False
    return _settle(digest, sent_at=at, subject=mail.subject, body=mail.body)


def _settle(digest: Digest, **facts: object) -> bool:
    """Write the outcome, if the lease is still ours: exactly one row, or another worker has taken
    over.
    """
    ours = Digest.objects.filter(pk=digest.pk, sent_at=None, claimed_until=digest.claimed_until)
    if ours.update(**facts) == 1:
        return True
    log.warning("digest %s: the lease had run out before its outcome was noted", digest.pk)
    return False


def _why_not(digest: Digest, *, at: dt.datetime) -> str:
    """Why this digest needs no mail any more, or nothing: asked again just before it is sent."""
    person, day = digest.person, digest.site.day_of(at)
    roles = Appointment.objects.filter(person=person, site=digest.site)
    if not person.is_active or not roles.in_force(day).exists():
        return NO_LONGER_HERE
    if not person.wants_mail or not person.email:
        return NO_MAIL_WANTED
    return "" if still_due(digest, at=at) else NOTHING_LEFT


def still_due(digest: Digest, *, at: dt.datetime) -> list[Reminder]:
    """The digest's lines that still hold: same due date, in service, rung passed; one line a
    point.
    """
    day = digest.site.day_of(at)
    lines = digest.lines.select_related("point").filter(
        point__next_due=F("due_on"), point__out_of_service_on=None
    )
    latest: dict[int, Reminder] = {}
    for line in lines.order_by("due_on", "point__tag_key", "rung"):
        if line.due_on + dt.timedelta(line.rung) <= day:
            latest[line.point_id] = line
    return list(latest.values())


def mail_of(digest: Digest, *, at: dt.datetime) -> EmailMessage:
    """The mail as it would leave at ``at``."""
    return digest_mail(digest, still_due(digest, at=at), on=digest.site.day_of(at))


def mail_as_kept(digest: Digest, *, at: dt.datetime) -> EmailMessage:
    """The mail for a page: word for word once it has left, else as it would read at ``at``."""
    if digest.sent_at:
        return EmailMessage(digest.subject, digest.body)
    if not digest.left_out:
        return mail_of(digest, at=at)
    lines = list(digest.lines.select_related("point").order_by("due_on", "point__tag_key"))
    return digest_mail(digest, lines, on=digest.day)


def preview(site: Site, *, day: dt.date, at: dt.datetime) -> list[tuple[Digest, EmailMessage]]:
    """What goes out for ``day``, written or not; nothing is stored."""
    with transaction.atomic():
        scan_site(site, day=day, at=at)
        digests = Digest.objects.filter(site=site, day=day).select_related("site", "person")
        mails = [(digest, mail_of(digest, at=at)) for digest in digests.order_by("person__name")]
        transaction.set_rollback(True)
    return mails
