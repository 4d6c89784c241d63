from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from plant.sites.querysets import SiteQuerySet


class Deferral(models.Model):
    """A calibration put off beyond its due date: asked with a reason, decided by an approver."""

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="deferrals")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="deferrals", db_constraint=False
    )
    due_on = models.DateField("due date")
    until = models.DateField("defer until")
    reason = models.TextField("reason")
    asked_by = models.ForeignKey("plant.Person", models.PROTECT, related_name="+")
    asked_at = models.DateTimeField("asked")
    granted = models.BooleanField("granted", null=True, blank=True)
    decided_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField("decided", null=True, blank=True)
    decision_note = models.TextField("note", blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.CheckConstraint(
                name="deferral_ends_after_the_due_date",
                condition=Q(until__gt=F("due_on")),
                violation_error_message="A deferral must end after the due date.",
            ),
            models.CheckConstraint(name="deferral_has_a_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="deferral_decision_has_person_and_time_or_neither",
                condition=Q(granted=None, decided_by=None, decided_at=None)
                | Q(granted__isnull=False, decided_by__isnull=False, decided_at__isnull=False),
            ),
            models.CheckConstraint(
                name="deferral_is_decided_by_another_person",
                condition=Q(decided_by=None) | ~Q(decided_by=F("asked_by")),
                violation_error_message="Another person than the one who asked must decide.",
            ),
            models.UniqueConstraint(
                "point",
                condition=Q(granted=None),
                name="one_open_deferral_request_per_point",
                violation_error_message="A deferral of this point already waits for a decision.",
            ),
        ]

    def __str__(self) -> str:
        return f"deferral of {self.point} until {self.until}"
