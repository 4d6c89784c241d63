"""The way of a digest from the outbox to the mail server.

A sender leases what waits and sends it outside any transaction, so that it may run twice, late or
not at all: nothing is lost. A mail handed over just before a kill is sent again, under the same
Message-ID.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Iterable

from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import connection, transaction
from django.db.models import F, Q

from calibration.reminders.lines import NO_MAIL_WANTED
from calibration.reminders.models import Digest
from calibration.reminders.reads import mail_of, still_due
from plant.people.models import Appointment

log = logging.getLogger(__name__)
MAILS_A_MINUTE = 60
LEASE = dt.timedelta(minutes=5)
LONGEST_PAUSE = dt.timedelta(hours=1)
# The number of an advisory lock. One claim at a time: the cap on mails a minute holds for all
# workers together.
OUTBOX_LOCK = 727401
NOTHING_LEFT = "nothing was left to report"
NO_LONGER_HERE = "no longer has a role at this site"


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
        text = f"{type(error).__name__}: {error}"[:500]
        _settle(digest, last_error=text, claimed_until=at + pause)
        return False
    return _settle(digest, sent_at=at, subject=mail.subject, body=mail.body)


def _settle(digest: Digest, **outcome: object) -> bool:
    """Write the outcome, if the lease is still ours: exactly one row, or another worker has taken
    over.
    """
    ours = Digest.objects.filter(pk=digest.pk, sent_at=None, claimed_until=digest.claimed_until)
    if ours.update(**outcome) == 1:
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
