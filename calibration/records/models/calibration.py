"""The record of a calibration: as found, as left, by whom, with what, and its signatures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from calibration.procedures.models import InputWay
from plant.choices import LowerCaseChoices
from plant.level.tolerance import AT_LEAST, AT_MOST, BOTH, Limits
from plant.sites.querysets import SiteQuerySet

if TYPE_CHECKING:
    from plant.points.models import MeasuringPoint

VERDICTS = ["pass", "fail", "inconclusive"]


class CalibrationQuerySet(SiteQuerySet["Calibration"]):
    def approved(self) -> Self:
        return self.filter(state="approved")

    def standing(self) -> Self:
        """Approved and not replaced by an approved amendment: what holds today."""
        later = Calibration.objects.filter(amends=OuterRef("pk"), state="approved")
        return self.approved().filter(~Exists(later))

    def waiting(self) -> Self:
        return self.filter(state="submitted")

    def latest_of(self, point: MeasuringPoint) -> Calibration | None:
        """The latest result of a measuring point that holds today."""
        return self.standing().filter(point=point).first()


class Calibration(models.Model):
    """One calibration of the transmitter at one measuring point, on one day.

    The range, tolerance and names are copied in as text, so that the record says for ever what was
    signed, whatever becomes of the register. After approval the database refuses every change; a
    correction is an amendment: a new record that names the old one (``amends``) and the reason.
    """

    class State(LowerCaseChoices):
        SUBMITTED = "submitted", "waiting for approval"
        APPROVED = "approved"
        RETURNED = "returned"

    class Source(LowerCaseChoices):
        TYPED = "typed", "typed in"
        TABLET = "tablet", "recorded on a tablet"
        IMPORTED = "imported"

    # Which
    # Without an index of their own: the first columns of those below.
    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="records", db_index=False)
    point = models.ForeignKey(
        "plant.MeasuringPoint",
        models.PROTECT,
        related_name="records",
        db_constraint=False,
        db_index=False,
    )
    transmitter = models.ForeignKey(
        "plant.Transmitter",
        models.PROTECT,
        related_name="records",
        db_constraint=False,
        db_index=False,
    )
    job = models.ForeignKey(
        "calibration.Job", models.PROTECT, null=True, blank=True, related_name="records"
    )
    procedure_version = models.ForeignKey(
        "calibration.ProcedureVersion",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="records",
    )
    amends = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="amendments"
    )
    amend_reason = models.TextField("reason of the amendment", blank=True)
    source = models.CharField(max_length=8, choices=Source, default=Source.TYPED)
    state = models.CharField("state", max_length=9, choices=State, default=State.SUBMITTED)

    # The receipt: the id the sender made, the hash of what was sent, when it came
    submission = models.UUIDField("submission", unique=True)
    content_sha256 = models.CharField("content", max_length=64)
    submitted_at = models.DateTimeField("submitted")

    # When, who, how
    done_on = models.DateField("day of calibration")
    performed_by = models.ForeignKey(
        "plant.Person",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="records",
        verbose_name="performed by",
    )
    performed_by_name = models.CharField("performed by", max_length=120)
    way = models.CharField("input applied by", max_length=32, choices=InputWay)
    ambient_c = models.DecimalField(
        "ambient, °C", max_digits=5, decimal_places=1, null=True, blank=True
    )
    product_c = models.DecimalField(
        "product, °C", max_digits=5, decimal_places=1, null=True, blank=True
    )
    no_as_found_reason = models.CharField("why as found is missing", max_length=300, blank=True)
    note = models.TextField("note", blank=True)

    # As it stood in the register that day
    tag = models.CharField(max_length=40)
    tank_name = models.CharField(max_length=40)
    product_name = models.CharField(max_length=80, blank=True)
    serial = models.CharField(max_length=60)
    quantity = models.CharField(max_length=6)
    unit = models.CharField(max_length=2)
    lower = models.DecimalField(max_digits=14, decimal_places=5)
    upper = models.DecimalField(max_digits=14, decimal_places=5)
    signal = models.CharField(max_length=6)
    tolerance = models.DecimalField(max_digits=10, decimal_places=4)
    tolerance_unit = models.CharField(max_length=2)
    # Downward where it differs; and which sides were limited.
    tolerance_down = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    tolerance_sides = models.CharField(max_length=8, default=BOTH, db_default=BOTH)
    # Half its width, or the one limit of a one-sided tolerance.
    tolerance_percent = models.FloatField("tolerance, % of span")
    adjust_limit_percent = models.FloatField("adjust beyond, ± % of span")
    decision_rule = models.CharField("decision rule", max_length=60, default="simple acceptance")

    # Measurement uncertainty, % of span; None where the standards' certificates say too little (see
    # the budget).
    expanded_percent = models.FloatField("largest U, % of span", null=True, blank=True)
    coverage_factor = models.FloatField("coverage factor", null=True, blank=True)
    tur = models.FloatField("test uncertainty ratio", null=True, blank=True)
    # Standard uncertainty of the errors at zero and span, and the part of it that all readings of
    # the day share; both without what lasts from visit to visit, which cancels in what drifts
    # between them.
    u_zero = models.FloatField(null=True, blank=True)
    u_span = models.FloatField(null=True, blank=True)
    u_zero_shared = models.FloatField(null=True, blank=True)
    u_span_shared = models.FloatField(null=True, blank=True)
    # The components at the reading with the largest U, as calibration.records.budgets writes them.
    budget = models.JSONField("uncertainty budget", null=True, blank=True)

    # The figures, % of span. As found: None throughout when it is missing.
    adjusted = models.BooleanField("adjusted", default=False)
    found_errors = ArrayField(models.FloatField(), default=list, blank=True)
    found_largest = models.FloatField("largest as found", null=True, blank=True)
    found_at_zero = models.FloatField("as found at zero", null=True, blank=True)
    found_at_span = models.FloatField("as found at span", null=True, blank=True)
    found_hysteresis = models.FloatField("hysteresis as found", null=True, blank=True)
    found_verdict = models.CharField("as found", max_length=12, blank=True)
    left_errors = ArrayField(models.FloatField(), default=list, blank=True)
    left_largest = models.FloatField("largest as left", null=True, blank=True)
    left_at_zero = models.FloatField("as left at zero", null=True, blank=True)
    left_at_span = models.FloatField("as left at span", null=True, blank=True)
    left_hysteresis = models.FloatField("hysteresis as left", null=True, blank=True)
    left_verdict = models.CharField("as left", max_length=12, blank=True)
    # What is left of the errors without the line between zero and span, at the positions of
    # calibration.metrology.shapes, the mean of as found and as left; NaN: not read.
    shape = ArrayField(models.FloatField(), size=9, null=True, blank=True)
    # A reading in an NE 43 failure band is evidence of a failure; such a record stays out of the
    # trend.
    shows_failure = models.BooleanField("a reading shows a failure", default=False)

    # Which parts it tested, by its procedure; a check is evidence, but moves no due date.
    covers_output = models.BooleanField("covers the output", default=True, db_default=True)
    covers_primary = models.BooleanField(
        "covers the primary element", default=True, db_default=True
    )
    is_check = models.BooleanField("a check, not a calibration", default=False, db_default=False)

    # Signatures
    approved_by = models.ForeignKey(
        "plant.Person",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="approved by",
    )
    approved_by_name = models.CharField("approved by", max_length=120, blank=True)
    approved_at = models.DateTimeField("approved", null=True, blank=True)
    approval_note = models.TextField("approver's note", blank=True)
    returned_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    returned_at = models.DateTimeField(null=True, blank=True)
    return_reason = models.TextField("why returned", blank=True)

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ["-done_on", "-id"]
        verbose_name = "record"
        indexes = [
            models.Index(fields=["point", "-done_on", "-id"], name="record_by_point"),
            models.Index(fields=["transmitter", "-done_on", "-id"], name="record_by_transmitter"),
            models.Index(fields=["site", "-done_on", "-id"], name="record_by_site"),
            models.Index(
                fields=["site", "submitted_at"],
                condition=Q(state="submitted"),
                name="record_waiting",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                name="approval_has_person_and_time_or_neither",
                condition=Q(state="approved", approved_at__isnull=False) & ~Q(approved_by_name="")
                | ~Q(state="approved") & Q(approved_by=None, approved_at=None, approved_by_name=""),
                violation_error_message="An approval needs both a person and a time.",
            ),
            models.CheckConstraint(
                name="nobody_approves_their_own_work",
                condition=Q(approved_by=None)
                | Q(performed_by=None)
                | ~Q(approved_by=F("performed_by")),
                violation_error_message="Nobody approves their own work; ask another approver.",
            ),
            models.CheckConstraint(
                name="a_return_has_person_time_and_reason",
                condition=Q(state="returned", returned_by__isnull=False, returned_at__isnull=False)
                & ~Q(return_reason="")
                | ~Q(state="returned") & Q(returned_by=None, returned_at=None, return_reason=""),
            ),
            models.CheckConstraint(
                name="an_amendment_has_a_reason",
                condition=Q(amends=None, amend_reason="")
                | Q(amends__isnull=False) & ~Q(amend_reason=""),
                violation_error_message="Say why the earlier record is amended.",
            ),
            models.UniqueConstraint(
                "amends",
                condition=Q(state__in=("submitted", "approved")),
                name="one_amendment_per_record",
                violation_error_message="This record already has an amendment; amend that one.",
            ),
            models.UniqueConstraint(
                "job",
                condition=Q(state__in=("submitted", "approved"), amends=None),
                name="one_record_per_job",
                violation_error_message="This job already has a record.",
            ),
            models.CheckConstraint(
                name="as_found_or_the_reason_why_not",
                condition=Q(found_verdict__in=VERDICTS)
                | Q(found_verdict="") & ~Q(no_as_found_reason=""),
                violation_error_message="Without as-found readings the record needs the "
                "reason why.",
            ),
            models.CheckConstraint(
                name="as_left_verdict_is_known", condition=Q(left_verdict__in=VERDICTS)
            ),
            models.CheckConstraint(
                name="typed_record_has_its_performer_and_procedure",
                condition=Q(source="imported")
                | Q(
                    source__in=["typed", "tablet"],
                    performed_by__isnull=False,
                    procedure_version__isnull=False,
                ),
            ),
            models.CheckConstraint(
                name="a_shape_has_nine_positions", condition=Q(shape=None) | Q(shape__len=9)
            ),
            models.CheckConstraint(
                name="record_has_the_limits_of_its_sides",
                condition=Q(tolerance_sides=BOTH)
                | Q(tolerance_sides__in=[AT_MOST, AT_LEAST], tolerance_down=None),
            ),
            models.CheckConstraint(
                name="record_state_is_known",
                condition=Q(state__in=["submitted", "approved", "returned"]),
            ),
        ]

    def __str__(self) -> str:
        return f"record {self.pk}, {self.tag}, {self.done_on}"

    def get_absolute_url(self) -> str:
        return f"/records/{self.pk}/"

    @property
    def error_limits(self) -> Limits:
        """The limits of an error by which it was judged, % of span."""
        given = Limits.of(self.tolerance, self.tolerance_down, self.tolerance_sides)
        return given.scaled_to(self.tolerance_percent)

    @property
    def found_furthest_from_zero(self) -> float | None:
        """The error as found that is compared with the adjust limit, % of span: that limit lies
        about zero, whatever those of the tolerance are.
        """
        return max(self.found_errors, key=abs) if self.found_errors else self.found_largest
