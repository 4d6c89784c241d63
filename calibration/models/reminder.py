"""The outbox. What must be told is written here in the database; queue messages only wake its reader."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Digest(models.Model):
    """One mail to one person for one site and day. Sent at least once, always under the same Message-ID."""

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="digests")
    person = models.ForeignKey("plant.Person", models.PROTECT, related_name="digests")
    day = models.DateField("day")
    message_id = models.CharField(max_length=120, unique=True)
    made_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    last_error = models.TextField(blank=True)
    sent_at = models.DateTimeField("sent", null=True)

    class Meta:
        ordering = ["-day", "-id"]
        indexes = [models.Index(fields=["made_at"], condition=Q(sent_at=None), name="digest_waiting")]
        constraints = [
            models.UniqueConstraint(
                "person", "site", "day", name="one_digest_per_person_site_and_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.day} to {self.person}"


class Reminder(models.Model):
    """One line of a digest: this point, this due date, this rung of the ladder, this person. Never twice."""

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    point = models.ForeignKey("plant.MeasuringPoint", models.PROTECT, related_name="reminders")
    due_on = models.DateField("due date")
    rung = models.SmallIntegerField("days after the due date", help_text="−30, −7, 0, then 7, 14, …")
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
