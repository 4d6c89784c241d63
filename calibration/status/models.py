"""Which results speak for a point as it is, and what an approver closed of its reasons."""

from __future__ import annotations

from typing import Self

from django.db import models

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class CurrentQuerySet(models.QuerySet["CurrentRecord"]):
    def parts(self) -> Self:
        """Calibrations, not checks, that left nothing out of tolerance."""
        return self.filter(is_check=False).exclude(left_verdict="fail")


class CurrentRecord(models.Model):
    """A standing record that speaks for its point as it is: of the transmitter that is there, since
    it was installed, at the present range.

    A view (0002_status.sql): never written.
    """

    record = models.OneToOneField("calibration.Calibration", models.DO_NOTHING, primary_key=True)
    point = models.ForeignKey("plant.MeasuringPoint", models.DO_NOTHING, related_name="+")
    done_on = models.DateField()
    is_check = models.BooleanField()
    covers_output = models.BooleanField()
    covers_primary = models.BooleanField()
    left_verdict = models.CharField(max_length=12)
    parts_within_days = models.PositiveSmallIntegerField()

    objects = CurrentQuerySet.as_manager()

    class Meta:
        managed = False
        db_table = "calibration_currentrecord"

    def __str__(self) -> str:
        return f"{self.point_id}, {self.done_on}"


class CompleteResult(models.Model):
    """A calibration, by itself or with the other part before it, of output and primary element of
    the transmitter that is there, at its present range. The interval counts from ``counts_from``,
    the older of the two parts.

    A view (0002_status.sql): never written.
    """

    record = models.OneToOneField("calibration.Calibration", models.DO_NOTHING, primary_key=True)
    point = models.ForeignKey("plant.MeasuringPoint", models.DO_NOTHING, related_name="+")
    done_on = models.DateField()
    counts_from = models.DateField()

    class Meta:
        managed = False
        db_table = "calibration_completeresult"

    def __str__(self) -> str:
        return f"{self.point_id}, {self.counts_from}"


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
