"""The outbox. What is to be sent is written here in the database; queue messages only wake its
reader.
"""

from __future__ import annotations

import datetime as dt
from typing import Self

from django.db import models
from django.db.models import Exists, OuterRef, Q


class ReminderScan(models.Model):
    """That a site's reminders of a day were written: once, whatever runs when.

    ``held``: far more lines than usual (a clock that jumped, an import): nothing leaves before a
    planner releases it.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="reminder_scans")
    day = models.DateField("day")
    at = models.DateTimeField("written")
    lines = models.PositiveIntegerField("lines", default=0)
    held = models.BooleanField("held", default=False)
    released_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    released_at = models.DateTimeField("released", null=True, blank=True)

    class Meta:
        ordering = ["-day", "site"]
        constraints = [
            models.UniqueConstraint("site", "day", name="one_reminder_scan_per_site_and_day"),
            models.CheckConstraint(
                name="release_has_person_and_time_or_neither",
                condition=Q(released_by=None, released_at=None)
                | Q(held=True, released_by__isnull=False, released_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"reminders of {self.day}"


class DigestQuerySet(models.QuerySet):
    def seen_by(self, person) -> Self:
        """Those of the sites where the person plans or approves, and their own."""
        sites = set(person.site_ids("plan")) | set(person.site_ids("approve"))
        return self.filter(Q(site_id__in=sites) | Q(person=person))

    def waiting(self) -> Self:
        """Neither sent nor left out, and not held."""
        held = ReminderScan.objects.filter(
            site=OuterRef("site"), day=OuterRef("day"), held=True, released_at=None
        )
        return self.filter(~Exists(held), sent_at=None, left_out="")

    def stuck(self, *, at: dt.datetime) -> Self:
        """Still waiting a quarter of an hour after it was written, with an error to show for it."""
        late = at - dt.timedelta(minutes=15)
        return self.filter(sent_at=None, left_out="", made_at__lt=late).exclude(last_error="")


class Digest(models.Model):
    """One mail to one person for one site and day. Sent at least once, always under the same
    Message-ID.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="digests")
    person = models.ForeignKey("plant.Person", models.PROTECT, related_name="digests")
    day = models.DateField("day")
    message_id = models.CharField(max_length=120, unique=True)
    made_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    last_error = models.TextField(blank=True)
    sent_at = models.DateTimeField("sent", null=True, blank=True)
    # What left, word for word; empty until then.
    subject = models.CharField("subject", max_length=200, blank=True)
    body = models.TextField("text", blank=True)
    # Settled without a mail: the person wants none, or nothing was left to report.
    left_out = models.CharField("why no mail went out", max_length=120, blank=True)

    objects = DigestQuerySet.as_manager()

    class Meta:
        ordering = ["-day", "-id"]
        indexes = [
            models.Index(
                fields=["made_at"], condition=Q(sent_at=None, left_out=""), name="digest_waiting"
            )
        ]
        constraints = [
            models.CheckConstraint(
                name="digest_is_sent_or_left_out", condition=Q(sent_at=None) | Q(left_out="")
            ),
            models.UniqueConstraint(
                "person", "site", "day", name="one_digest_per_person_site_and_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.day} to {self.person}"

    def get_absolute_url(self) -> str:
        return f"/outbox/{self.pk}/"


class Reminder(models.Model):
    """One line of a digest: this point, this due date, this rung of the ladder, this person. Never
    twice.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    point = models.ForeignKey("plant.MeasuringPoint", models.PROTECT, related_name="reminders")
    due_on = models.DateField("due date")
    rung = models.SmallIntegerField(
        "days after the due date", help_text="−30, −7, 0, then 7, 14, …"
    )
    person = models.ForeignKey("plant.Person", models.PROTECT, related_name="reminders")
    digest = models.ForeignKey(Digest, models.PROTECT, related_name="lines")

    class Meta:
        ordering = ["due_on", "id"]
        constraints = [
            models.UniqueConstraint(
                "point", "due_on", "rung", "person", name="a_reminder_is_made_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.point}, {self.due_on}, rung {self.rung}"


class Heartbeat(models.Model):
    """When a periodic task last ran to its end; the health page reads it."""

    task = models.CharField(max_length=60, unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.task} {self.at}"
