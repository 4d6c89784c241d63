"""Procedures and their versions. A record keeps the version it followed; a published version never changes."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from plant.models.words import Words


class InputWay(Words):
    """How the input is applied; each way has its own uncertainty."""

    SIMULATED_OUTPUT = "simulated output"
    DIP = "wetted level by dip"
    GAUGE_GLASS = "wetted level by gauge glass"
    PROBE_RAISED = "probe raised out of product"
    CAPACITANCE = "capacitance substituted"
    PRESSURE = "pressure applied"
    TARGET = "target at known distance"
    WEIGHTS = "weights on hanger"
    FLOAT_MOVED = "float moved along its rod"


class Procedure(models.Model):
    key = models.SlugField("key", max_length=40, unique=True)
    name = models.CharField("name", max_length=120)
    principles = ArrayField(models.CharField(max_length=24), default=list)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return f"/procedures/{self.key}/"


class ProcedureVersion(models.Model):
    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField("version")
    way = models.CharField("input applied by", max_length=32, choices=InputWay)
    percents = ArrayField(
        models.DecimalField(max_digits=6, decimal_places=2),
        help_text="Test points, % of span, rising.",
    )
    up_and_down = models.BooleanField("rising and falling", default=True)
    settle_seconds = models.PositiveIntegerField("settle, s", default=30)
    published_on = models.DateField("published on", null=True, blank=True)
    reason = models.CharField("what changed and why", max_length=300, blank=True)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [
            models.UniqueConstraint("procedure", "number", name="procedure_version_number_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"


class ProcedureStep(models.Model):
    class Kind(Words):
        CAUTION = "caution"
        PREPARE = "prepare"
        READ = "read"
        ADJUST = "adjust"
        RESTORE = "restore"

    version = models.ForeignKey(ProcedureVersion, models.PROTECT, related_name="steps")
    number = models.PositiveSmallIntegerField("step")
    kind = models.CharField("kind", max_length=8, choices=Kind)
    text = models.TextField("text")

    class Meta:
        ordering = ["version", "number"]
        constraints = [
            models.UniqueConstraint("version", "number", name="procedure_step_number_unique"),
            models.CheckConstraint(
                name="step_kind_is_known",
                condition=models.Q(kind__in=["caution", "prepare", "read", "adjust", "restore"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}. {self.text[:60]}"
