"""The stored drift of each point, and questions about jumps in it that ask for a cause."""

from __future__ import annotations

from typing import Self

from django.db import models
from django.db.models import Q

from calibration.families.models import Family
from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet

ENDS = ["zero", "span"]


class Trend(models.Model):
    """The drift of the transmitter now at a point, as far as lists need it; pages compute the rest
    from the records.

    Rates in % of span a year (365.25 days) with their 95 % interval. Refitted in the transaction of
    each approval.
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
    # Share of the rate that the instrument's own results decide, at the end that meets the
    # tolerance first.
    own_weight = models.FloatField(null=True, blank=True)
    # The first day on which the 95 % band of zero or span meets the tolerance; None: not within 10
    # years.
    crossing_on = models.DateField(null=True, blank=True)
    crossing_of = models.CharField(max_length=4, blank=True)
    # Probability that the next as found, taken on the due date of that time, is in tolerance.
    in_tolerance = models.FloatField(null=True, blank=True)
    # The first day on which the chance of passing is below the policy's floor; None: none in sight.
    doubt_on = models.DateField(null=True, blank=True)
    fitted_at = models.DateTimeField(null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    def __str__(self) -> str:
        return f"trend of {self.point}"


class JumpQuerySet(SiteQuerySet):
    def open(self) -> Self:
        return self.filter(cause="")


class JumpQuestion(models.Model):
    """A result that does not go with the others of its history. It asks for a cause; nothing is
    ever dropped.

    Until it is answered a new level begins there and the rate goes on. Jumps were called steps
    once: addresses and tables keep that name.
    """

    class Cause(LowerCaseChoices):
        REPAIR = "repair", "repair or replaced part"
        PRODUCT = "product change", "change of product or its temperature"
        MOUNTING = "mounting", "work on nozzle, roof or mounting"
        BAD_READING = "bad reading", "bad reading of that day"
        SURGE = "surge", "lightning or surge"
        UNKNOWN = "unknown", "looked for, none found"
        DRIFT = "drift", "nothing happened: it drifts like this"

    class Kind(LowerCaseChoices):
        STEP = "step", "jump"
        READING = "bad reading", "single bad reading"
        EITHER = "either", "jump or single bad reading"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="jumps")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="jumps", db_constraint=False
    )
    record = models.ForeignKey("calibration.Calibration", models.PROTECT, related_name="jumps")
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

    objects = JumpQuerySet.as_manager()

    class Meta:
        db_table = "calibration_stepquestion"
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
        return f"jump of {self.point} at {self.end}"

    def get_absolute_url(self) -> str:
        return f"/steps/{self.pk}/"
