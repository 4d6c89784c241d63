"""What histories tell: families of like transmitters, the drift of each, and steps that ask for a cause."""

from __future__ import annotations

from typing import Self

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q

from plant.models.sites import SiteQuerySet
from plant.models.words import Words

ENDS = ["zero", "span"]


def _numbers() -> ArrayField:
    return ArrayField(models.FloatField(), default=list, blank=True)


class Family(models.Model):
    """Transmitters of one principle, in liquids that conduct or do not where that matters; of all sites.

    What they lend each other is numbers only: the mean rate at zero and at span (% of span a year), its spread between
    instruments, how well the mean is known, and the weights of the walks (calibration.metrology.wander.NODES).
    """

    key = models.CharField(max_length=60, unique=True)
    principle = models.CharField("principle", max_length=24)
    conducts = models.BooleanField("liquid conducts", null=True, blank=True)
    # Members whose history was fitted; with 5 or fewer others it lends nothing.
    members = models.PositiveIntegerField(default=0)
    # As founds of its standing records, and how many of them were in tolerance; counted at the end of each pass.
    results = models.PositiveIntegerField(default=0, db_default=0)
    found_in = models.PositiveIntegerField("found in tolerance", default=0, db_default=0)
    tolerance_percent = models.FloatField("median tolerance, ± % of span", null=True, blank=True)
    zero_rate = models.FloatField(null=True, blank=True)
    zero_spread = models.FloatField(null=True, blank=True)
    zero_mean_sd = models.FloatField(null=True, blank=True)
    zero_weights = _numbers()
    span_rate = models.FloatField(null=True, blank=True)
    span_spread = models.FloatField(null=True, blank=True)
    span_mean_sd = models.FloatField(null=True, blank=True)
    span_weights = _numbers()
    # As founds foretold from the visits before them, and how many of them the 95 % band held.
    forecasts = models.PositiveIntegerField(default=0, db_default=0)
    forecasts_held = models.PositiveIntegerField(default=0, db_default=0)
    fitted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["key"]
        verbose_name_plural = "families"

    def __str__(self) -> str:
        return self.key

    def get_absolute_url(self) -> str:
        return f"/families/{self.pk}/"


class Trend(models.Model):
    """The drift of the transmitter now at a point, as far as lists need it; pages compute the rest from the records.

    Rates in % of span a year (365.25 days) with their 95 % interval. Refitted in the transaction of each approval.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    point = models.OneToOneField("plant.MeasuringPoint", models.PROTECT, related_name="trend")
    transmitter = models.ForeignKey("plant.Transmitter", models.PROTECT, related_name="+")
    family = models.ForeignKey(Family, models.PROTECT, null=True, blank=True, related_name="trends")
    results = models.PositiveSmallIntegerField()
    zero_rate = models.FloatField(null=True, blank=True)
    zero_rate_low = models.FloatField(null=True, blank=True)
    zero_rate_high = models.FloatField(null=True, blank=True)
    span_rate = models.FloatField(null=True, blank=True)
    span_rate_low = models.FloatField(null=True, blank=True)
    span_rate_high = models.FloatField(null=True, blank=True)
    # Share of the rate that the instrument's own results decide, at the end that meets the tolerance first.
    own_weight = models.FloatField(null=True, blank=True)
    # The first day on which the 95 % band of zero or span meets the tolerance; None: not within 10 years.
    crossing_on = models.DateField(null=True, blank=True)
    crossing_of = models.CharField(max_length=4, blank=True)
    # Probability that the next as found, taken on the due date of that time, is in tolerance.
    in_tolerance = models.FloatField(null=True, blank=True)
    fitted_at = models.DateTimeField(null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    def __str__(self) -> str:
        return f"trend of {self.point}"


class StepQuerySet(SiteQuerySet):
    def open(self) -> Self:
        return self.filter(cause="")


class StepQuestion(models.Model):
    """A result that does not go with the others of its history. It asks for a cause; nothing is ever dropped.

    Until it is answered a fresh level begins there and the rate goes on.
    """

    class Cause(Words):
        REPAIR = "repair", "repair or replaced part"
        PRODUCT = "product change", "change of product or its temperature"
        MOUNTING = "mounting", "work on nozzle, roof or mounting"
        BAD_READING = "bad reading", "bad reading of that day"
        SURGE = "surge", "lightning or surge"
        UNKNOWN = "unknown", "looked for, none found"
        DRIFT = "drift", "nothing happened: it drifts like this"

    class Kind(Words):
        STEP = "step"
        READING = "bad reading", "single bad reading"
        EITHER = "either", "step or single bad reading"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="steps")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="steps", db_constraint=False
    )
    record = models.ForeignKey("calibration.Calibration", models.PROTECT, related_name="steps")
    end = models.CharField("end of the range", max_length=4)
    size_percent = models.FloatField("differs by, % of span")
    chance = models.FloatField("chance of it without a cause")
    kind = models.CharField("looks like", max_length=12, choices=Kind)
    raised_at = models.DateTimeField("raised")
    cause = models.CharField("cause", max_length=16, choices=Cause, blank=True)
    answer = models.TextField("what was found", blank=True)
    answered_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    answered_at = models.DateTimeField("answered", null=True, blank=True)

    objects = StepQuerySet.as_manager()

    class Meta:
        ordering = ["-raised_at", "-id"]
        verbose_name = "step"
        indexes = [
            models.Index(fields=["site", "-raised_at"], condition=Q(cause=""), name="step_open"),
            models.Index(fields=["point", "-raised_at"], name="step_by_point"),
        ]
        constraints = [
            models.UniqueConstraint("record", "end", name="one_step_a_record_and_end"),
            models.CheckConstraint(name="step_end_is_known", condition=Q(end__in=ENDS)),
            models.CheckConstraint(
                name="an_answer_has_cause_person_and_time",
                condition=Q(cause="", answered_by=None, answered_at=None)
                | ~Q(cause="") & Q(answered_by__isnull=False, answered_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"step of {self.point} at {self.end}"

    def get_absolute_url(self) -> str:
        return f"/steps/{self.pk}/"


class FleetRun(models.Model):
    """One pass over the fleet: families fitted, trends and proposals renewed where something had changed."""

    started_at = models.DateTimeField("started")
    finished_at = models.DateTimeField("finished", null=True, blank=True)
    # Of the last sign of life; a run without one for long was lost and is taken up again.
    alive_at = models.DateTimeField("last progress")
    points = models.PositiveIntegerField("points to do", default=0)
    done = models.PositiveIntegerField("points done", default=0)
    proposals = models.PositiveIntegerField("proposals made", default=0)
    steps = models.PositiveIntegerField("steps found", default=0)
    trouble = models.TextField("what went wrong", blank=True)

    class Meta:
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return f"pass of {self.started_at:%Y-%m-%d}"
