"""The measuring point: the place with a tag. Range, tolerance, interval and due date belong to
it.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.db import models
from django.db.models import Case, F, Q, Value, When
from django.db.models.functions import Coalesce

from plant.choices import LowerCaseChoices
from plant.level.signals import SIGNALS, Signal
from plant.level.tolerance import (
    AT_LEAST,
    AT_MOST,
    BOTH,
    Limits,
    Tolerance,
    equivalent_tolerance,
)
from plant.level.units import LENGTH_UNITS, VOLUME_UNITS
from plant.points.querysets import PointQuerySet
from plant.points.status import BY_CALENDAR, NO_TRANSMITTER, Status, status_on


def interval_run(due_on: dt.date, months: int, *, on: dt.date) -> float:
    """Share of an interval of ``months`` ending on ``due_on`` that has run on the day ``on``; above
    1 it is overdue.
    """
    whole = round(months * 30.4375)
    return max(whole - (due_on - on).days, 0) / whole


def _to_base(field: str) -> Case:
    """A range value in metres, or in m³ for a point that indicates volume."""
    factors = {**LENGTH_UNITS, **VOLUME_UNITS}
    return Case(
        *[
            When(unit=unit, then=F(field) * Value(Decimal(str(factor))))
            for unit, factor in factors.items()
        ],
        output_field=models.FloatField(),
    )


class MeasuringPoint(models.Model):
    class Quantity(LowerCaseChoices):
        LEVEL = "level"
        VOLUME = "volume"

    class Unit(LowerCaseChoices):
        MM = "mm", "mm"
        CM = "cm", "cm"
        M = "m", "m"
        IN = "in", "in"
        FT = "ft", "ft"
        M3 = "m3", "m³"
        L = "L", "L"

    class OutputSignal(LowerCaseChoices):
        MA_4_20 = "4-20mA", "4–20 mA"
        MA_0_20 = "0-20mA", "0–20 mA"
        V_1_5 = "1-5V", "1–5 V"
        V_0_10 = "0-10V", "0–10 V"

    class ToleranceUnit(LowerCaseChoices):
        PERCENT = "%", "% of span"
        MM = "mm", "mm"
        MA = "mA", "mA"

    class Sides(LowerCaseChoices):
        BOTH = BOTH, "both ways"
        AT_MOST = AT_MOST, "upward only (at most)"
        AT_LEAST = AT_LEAST, "downward only (at least)"

    class Duty(LowerCaseChoices):
        SAFETY = "safety"
        CUSTODY = "custody"
        QUALITY = "quality"
        ENVIRONMENT = "environment"
        GENERAL = "general"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="points")
    tank = models.ForeignKey(
        "plant.Tank",
        models.PROTECT,
        related_name="points",
        db_constraint=False,
        verbose_name="tank",
    )
    tag = models.CharField("tag", max_length=40)
    tag_key = models.CharField(max_length=120, editable=False)
    quantity = models.CharField("indicates", max_length=6, choices=Quantity, default=Quantity.LEVEL)
    unit = models.CharField("unit of the range", max_length=2, choices=Unit, default=Unit.M)
    lower = models.DecimalField("lower range value (LRV)", max_digits=14, decimal_places=5)
    upper = models.DecimalField("upper range value (URV)", max_digits=14, decimal_places=5)
    signal = models.CharField(
        "output signal", max_length=6, choices=OutputSignal, default=OutputSignal.MA_4_20
    )
    tolerance = models.DecimalField("tolerance", max_digits=10, decimal_places=4)
    tolerance_unit = models.CharField(
        "tolerance is in", max_length=2, choices=ToleranceUnit, default=ToleranceUnit.PERCENT
    )
    # Empty: the same as upward.
    tolerance_down = models.DecimalField(
        "tolerance downward, −", max_digits=10, decimal_places=4, null=True, blank=True
    )
    tolerance_sides = models.CharField(
        "tolerance applies", max_length=8, choices=Sides, default=Sides.BOTH, db_default=BOTH
    )
    adjust_limit = models.DecimalField(
        "adjust beyond, ±",
        max_digits=10,
        decimal_places=4,
        help_text="In the unit of the tolerance.",
    )
    duty = models.CharField("duty", max_length=12, choices=Duty, default=Duty.GENERAL)
    procedure_key = models.CharField("procedure", max_length=40, blank=True)
    interval_months = models.PositiveSmallIntegerField("recalibration interval, months", default=12)
    grace_days = models.PositiveSmallIntegerField(
        "grace, days",
        default=0,
        help_text="Done within this many days of its due date, the cycle keeps its anchor.",
    )
    job_hours = models.DecimalField(
        "hours a job takes", max_digits=4, decimal_places=1, default=Decimal("1.5")
    )
    note = models.TextField("note", blank=True)
    out_of_service_on = models.DateField("out of service since", null=True, blank=True)
    out_of_service_why = models.CharField("why out of service", max_length=200, blank=True)

    # The schedule. Written by operations only: the approval of a record, a deferral, an interval
    # change.
    due_on = models.DateField("due date")
    anchor_on = models.DateField("the cycle counts from", null=True, blank=True)
    anchor_months = models.PositiveSmallIntegerField(null=True, blank=True)
    deferred_until = models.DateField("deferred until", null=True, blank=True)
    next_due = models.GeneratedField(
        expression=Coalesce("deferred_until", "due_on"),
        output_field=models.DateField(),
        db_persist=True,
    )
    # What is known of it (plant.points.status), derived and kept by the database alone.
    condition = models.PositiveSmallIntegerField(
        default=NO_TRANSMITTER, db_default=NO_TRANSMITTER, editable=False
    )
    reasons = models.JSONField(default=list, editable=False)
    # The day for which that was derived last; moved by the night's pass.
    known_on = models.DateField(null=True, blank=True, editable=False)
    # Since when range and signal are as they are; None: since it was registered.
    ranged_on = models.DateField("range as it is since", null=True, blank=True, editable=False)
    # In metres, or m³ where volume is indicated.
    lower_base = models.GeneratedField(
        expression=_to_base("lower"), output_field=models.FloatField(), db_persist=True
    )
    upper_base = models.GeneratedField(
        expression=_to_base("upper"), output_field=models.FloatField(), db_persist=True
    )

    objects = PointQuerySet.as_manager()

    class Meta:
        ordering = ["tag_key"]
        indexes = [
            models.Index(fields=["site", "next_due", "id"], name="point_by_due"),
            models.Index(fields=["site", "tag_key", "id"], name="point_by_tag"),
            models.Index(fields=["next_due", "id"], name="point_by_due_of_all"),
            # The worst first.
            models.Index(
                fields=["site", "condition", "next_due", "id"],
                condition=Q(out_of_service_on=None),
                name="point_by_status",
            ),
            # The few that are deferred or out of service are counted and listed without a walk
            # through the rest.
            models.Index(
                fields=["site", "next_due", "id"],
                condition=Q(deferred_until__isnull=False),
                name="point_deferred",
            ),
            models.Index(
                fields=["site", "next_due", "id"],
                condition=Q(out_of_service_on__isnull=False),
                name="point_out_of_service",
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                "site",
                "tag",
                name="tag_unique_in_its_site",
                violation_error_message="This site already has a measuring point with that tag.",
            ),
            models.UniqueConstraint("id", "site", name="point_and_site"),
            models.CheckConstraint(
                name="range_values_differ",
                condition=~Q(lower=F("upper")),
                violation_error_message="LRV and URV must differ: between them lies the span.",
            ),
            models.CheckConstraint(
                name="tolerance_above_zero",
                condition=Q(tolerance__gt=0),
                violation_error_message="The tolerance must be above zero.",
            ),
            models.CheckConstraint(
                name="adjust_limit_within_tolerance",
                condition=Q(adjust_limit__gte=0, adjust_limit__lte=F("tolerance"))
                & (Q(tolerance_down=None) | Q(adjust_limit__lte=F("tolerance_down"))),
                violation_error_message="The adjust limit must lie between zero and the tolerance.",
            ),
            models.CheckConstraint(
                name="tolerance_downward_above_zero",
                condition=Q(tolerance_down=None) | Q(tolerance_down__gt=0),
                violation_error_message="The tolerance downward must be above zero; leave it empty "
                "where it is the same as upward.",
            ),
            models.CheckConstraint(
                name="one_sided_tolerance_has_one_limit",
                condition=Q(tolerance_sides=BOTH)
                | Q(tolerance_sides__in=[AT_MOST, AT_LEAST], tolerance_down=None),
                violation_error_message="A one-sided tolerance has one limit: leave the tolerance "
                "downward empty, or limit the error both ways.",
            ),
            models.CheckConstraint(
                name="unit_fits_the_quantity",
                condition=Q(quantity="level", unit__in=list(LENGTH_UNITS))
                | Q(quantity="volume", unit__in=list(VOLUME_UNITS)),
                violation_error_message="Level needs mm, cm, m, in or ft; volume needs m³ or L.",
            ),
            models.CheckConstraint(
                name="volume_tolerance_not_in_mm",
                condition=~Q(quantity="volume", tolerance_unit="mm"),
                violation_error_message="A point that indicates volume has its tolerance in %% of "
                "span or mA.",
            ),
            models.CheckConstraint(
                name="tolerance_in_ma_needs_a_current",
                condition=~Q(tolerance_unit="mA") | Q(signal__in=["4-20mA", "0-20mA"]),
                violation_error_message="A tolerance in mA needs a current output.",
            ),
            models.CheckConstraint(
                name="interval_between_1_and_120_months",
                condition=Q(interval_months__gte=1, interval_months__lte=120),
                violation_error_message="The interval must be 1 to 120 months.",
            ),
            models.CheckConstraint(
                name="grace_below_half_the_interval",
                condition=Q(grace_days__lte=F("interval_months") * 15),
                violation_error_message="The grace must be at most half the interval: 15 days for "
                "each month.",
            ),
            models.CheckConstraint(
                name="deferred_beyond_the_due_date",
                condition=Q(deferred_until=None) | Q(deferred_until__gt=F("due_on")),
                violation_error_message="A deferral must end after the due date.",
            ),
            models.CheckConstraint(
                name="anchor_has_day_and_months_or_neither",
                condition=Q(anchor_on=None, anchor_months=None)
                | Q(anchor_on__isnull=False, anchor_months__isnull=False, anchor_months__gte=1),
            ),
            models.CheckConstraint(
                name="out_of_service_has_a_reason",
                condition=Q(out_of_service_on=None) | ~Q(out_of_service_why=""),
                violation_error_message="Say why the point is out of service.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag

    def get_absolute_url(self) -> str:
        return f"/points/{self.pk}/"

    @property
    def output(self) -> Signal:
        return SIGNALS[self.signal]

    @property
    def span_base(self) -> float:
        """|URV − LRV| in metres, or m³."""
        return abs(float(self.upper_base) - float(self.lower_base))

    @property
    def is_reverse(self) -> bool:
        return self.lower > self.upper

    @property
    def given_limits(self) -> Limits:
        """The limits of an error in the unit of the tolerance."""
        return Limits.of(self.tolerance, self.tolerance_down, self.tolerance_sides)

    @property
    def limits(self) -> Tolerance:
        """Half the width of the tolerance, or its one limit, in every unit."""
        return self._in_percent(self.given_limits.size)

    @property
    def error_limits(self) -> Limits:
        """The limits of an error in % of span."""
        return self.given_limits.scaled_to(self.limits.percent)

    @property
    def adjust_limits(self) -> Tolerance:
        return self._in_percent(float(self.adjust_limit))

    def _in_percent(self, value: float) -> Tolerance:
        return equivalent_tolerance(
            value,
            self.tolerance_unit,
            span=self.span_base,
            signal=self.output,
            quantity=self.quantity,
        )

    def status(self, on: dt.date) -> Status:
        return status_on(
            on,
            condition=self.condition,
            next_due=self.next_due,
            deferred=self.deferred_until is not None,
            out_of_service_on=self.out_of_service_on,
            reasons=self.reasons,
        )

    def interval_run(self, on: dt.date) -> float:
        """Share of the recalibration interval that has run on ``on``; above 1 it is overdue."""
        return interval_run(self.due_on, self.interval_months, on=on)


class DueCount(models.Model):
    """Points in service and their hours by site, condition, next due date and deferral; kept by a
    trigger, read by the due list.

    Counting the points themselves grows with the register (8 ms at 100,000); these rows are one a
    day at most.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="+")
    next_due = models.DateField()
    is_deferred = models.BooleanField()
    condition = models.PositiveSmallIntegerField(default=BY_CALENDAR, db_default=BY_CALENDAR)
    points = models.IntegerField()
    hours = models.DecimalField(max_digits=12, decimal_places=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "site", "next_due", "is_deferred", "condition", name="one_due_count_a_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.next_due}: {self.points}"
