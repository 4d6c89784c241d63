"""What a digest holds: the lines that still hold, and its mail as it would leave, or as it left."""

from __future__ import annotations

import datetime as dt

from django.core.mail import EmailMessage
from django.db.models import F

from calibration.reminders.mail import digest_mail
from calibration.reminders.models import Digest, Reminder


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
