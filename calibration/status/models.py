"""What an approver closed of a point's reasons, with the reason why."""

from __future__ import annotations

from django.db import models

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class ReasonClosing(models.Model):
    """An approver's signed word that a reason of a point's status no longer holds.

    Closed is the reason of one record (``of``): a later record opens it again.
    """

    class Kind(LowerCaseChoices):
        FAILED = "failed", "out of tolerance and not put right"
        STANDARD = "standard", "standard withdrawn"
        CHANCE = "chance", "chance of passing below the floor"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    point = models.ForeignKey(
        "plant.MeasuringPoint",
        models.PROTECT,
        related_name="reason_closings",
        db_constraint=False,
    )
    kind = models.CharField("reason", max_length=8, choices=Kind)
    of = models.BigIntegerField("record")
    why = models.TextField("why")
    closed_by = models.ForeignKey("plant.Person", models.PROTECT, related_name="+")
    closed_at = models.DateTimeField("closed")

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-closed_at"]
        verbose_name = "closing of a reason"
        constraints = [
            models.UniqueConstraint("point", "kind", "of", name="a_reason_is_closed_once"),
            models.CheckConstraint(
                name="a_closing_says_why",
                condition=~models.Q(why=""),
                violation_error_message="Say why this reason no longer holds.",
            ),
            models.CheckConstraint(
                name="closed_kind_is_known",
                condition=models.Q(kind__in=["failed", "standard", "chance"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.of} of {self.point}"
