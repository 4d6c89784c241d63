"""Which results speak for a point as it is: views of the database, never written."""

from __future__ import annotations

from typing import Any, Self

from django.db import models
from django.db.models.functions import JSONObject


class CurrentQuerySet(models.QuerySet["CurrentRecord"]):
    def parts(self) -> Self:
        """Calibrations, not checks, that left nothing out of tolerance."""
        return self.filter(is_check=False).exclude(left_verdict="fail")

    def packed(self) -> models.QuerySet[CurrentRecord, dict[str, Any]]:
        """As JSON, for a subquery; ``calibration.status.reads.unpacked`` reads it."""
        part = JSONObject(
            day="done_on",
            output="covers_output",
            primary="covers_primary",
            within="parts_within_days",
        )
        return self.values(json=part)


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
