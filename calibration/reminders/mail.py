"""The mail of a digest: tags, due dates and links; no reading ever leaves by mail."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from email.utils import formataddr

from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string

from calibration.reminders.models import Digest, Reminder
from plant.points.models import MeasuringPoint
from plant.points.status import CONDITIONS
from plant.quantities import day_text, weekday_text


@dataclass(frozen=True)
class Line:
    tag: str
    due: str
    days: str
    status: str
    url: str


def digest_mail(digest: Digest, lines: Sequence[Reminder], *, on: dt.date) -> EmailMessage:
    """The mail as it reads on the day ``on``. Its Message-ID is the digest's own, however often it
    is sent.
    """
    overdue = [line for line in lines if line.due_on < on]
    coming = [line for line in lines if line.due_on >= on]
    body = render_to_string(
        "calibration/mail_digest.txt",
        {
            "person": digest.person,
            "site": digest.site,
            "day": weekday_text(on),
            "overdue": [_line(line, on) for line in overdue],
            "coming": [_line(line, on) for line in coming],
            "url": f"{settings.PUBLIC_URL}/due/",
        },
    )
    return EmailMessage(
        subject=_one_line(f"{digest.site.name}: {subject(len(overdue), len(coming))}")[:200],
        body=body,
        to=[formataddr((_one_line(digest.person.name), digest.person.email))],
        headers={"Message-ID": digest.message_id, "Auto-Submitted": "auto-generated"},
    )


def subject(overdue: int, coming: int) -> str:
    """
    >>> subject(2, 5), subject(0, 1), subject(0, 0)
    ('2 overdue, 5 due soon', '1 due soon', 'nothing due')
    """
    parts = [f"{overdue} overdue"] if overdue else []
    parts += [f"{coming} due soon"] if coming else []
    return ", ".join(parts) or "nothing due"


def days_text(days: int) -> str:
    """
    >>> days_text(-1), days_text(0), days_text(30)
    ('1 day over', 'today', 'in 30 days')
    """
    if days == 0:
        return "today"
    many = f"{abs(days)} day{'' if abs(days) == 1 else 's'}"
    return f"in {many}" if days > 0 else f"{many} over"


def _line(line: Reminder, on: dt.date) -> Line:
    return Line(
        tag=line.point.tag.ljust(14),
        due=day_text(line.due_on).rjust(11),
        days=days_text((line.due_on - on).days).rjust(13),
        status=_known(line.point),
        url=f"{settings.PUBLIC_URL}{line.point.get_absolute_url()}",
    )


def _known(point: MeasuringPoint) -> str:
    """What is known of the point beside the calendar, as a column of the mail."""
    _, word = CONDITIONS.get(point.condition, ("", ""))
    return word.ljust(max(len(known) for _, known in CONDITIONS.values()))


def _one_line(text: str) -> str:
    """A name typed with line breaks must not write mail headers."""
    return " ".join(text.split())
