"""The record of a calibration: what was found, what was done, what was left, by whom, with what."""

from __future__ import annotations

from typing import Self

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from calibration.procedures.models import InputWay
from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet

VERDICTS = ["pass", "fail", "inconclusive"]


class CalibrationQuerySet(SiteQuerySet):
    def approved(self) -> Self:
        return self.filter(state="approved")

    def standing(self) -> Self:
        """Approved and not replaced by an approved amendment: what holds today."""
        later = Calibration.objects.filter(amends=OuterRef("pk"), state="approved")
        return self.approved().filter(~Exists(later))

    def waiting(self) -> Self:
        return self.filter(state="submitted")


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
    tolerance_percent = models.FloatField("tolerance, ± % of span")
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
    # A reading in an NE 43 failure band is evidence of a failure; such a record stays out of the
    # trend.
    shows_failure = models.BooleanField("a reading shows a failure", default=False)

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
                violation_error_message="Without as-found readings the record needs the reason why.",
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
                name="record_state_is_known",
                condition=Q(state__in=["submitted", "approved", "returned"]),
            ),
        ]

    def __str__(self) -> str:
        return f"record {self.pk}, {self.tag}, {self.done_on}"

    def get_absolute_url(self) -> str:
        return f"/records/{self.pk}/"


class Reading(models.Model):
    """One pair of applied value and observed output. Digits are kept as typed."""

    class Stage(LowerCaseChoices):
        AS_IT_STANDS = "as it stands"
        AS_FOUND = "as found"
        AS_LEFT = "as left"

    class Origin(LowerCaseChoices):
        READ = "read"
        COMPUTED = "computed"

    record = models.ForeignKey(Calibration, models.PROTECT, related_name="readings")
    stage = models.CharField("stage", max_length=12, choices=Stage)
    run = models.PositiveSmallIntegerField("run", default=1)
    sequence = models.PositiveSmallIntegerField("reading")
    rising = models.BooleanField("rising", default=True)
    applied = models.DecimalField("applied", max_digits=14, decimal_places=5)
    expected = models.DecimalField("expected", max_digits=10, decimal_places=5)
    observed = models.DecimalField(
        "observed", max_digits=10, decimal_places=5, null=True, blank=True
    )
    observed_indication = models.DecimalField(
        "observed indication", max_digits=14, decimal_places=5, null=True, blank=True
    )
    error_percent = models.FloatField("error, % of span")
    expanded_percent = models.FloatField("U, % of span", null=True, blank=True)
    band = models.CharField("NE 43", max_length=14, default="measuring")
    verdict = models.CharField("verdict", max_length=12)
    origin = models.CharField(max_length=8, choices=Origin, default=Origin.READ)
    # By the clock of the device it was typed on, which is a claim; None where it was typed in
    # later.
    read_at = models.DateTimeField("read", null=True, blank=True)

    class Meta:
        ordering = ["record", "stage", "run", "sequence"]
        constraints = [
            models.UniqueConstraint(
                "record", "stage", "run", "sequence", name="one_reading_per_place_in_the_run"
            ),
            models.CheckConstraint(
                name="reading_observed_something",
                condition=Q(observed__isnull=False) | Q(observed_indication__isnull=False),
                violation_error_message="A reading needs the observed output or the observed "
                "indication.",
            ),
            models.CheckConstraint(
                name="reading_stage_is_known",
                condition=Q(stage__in=["as it stands", "as found", "as left"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stage} {self.run}.{self.sequence}: {self.observed}"


class Adjustment(models.Model):
    """What was moved. An output trim (4 and 20 mA) is another thing than zero and span on the
    tank.
    """

    class Kind(LowerCaseChoices):
        TRIM_LOW = "output trim low", "output trim at the low end"
        TRIM_HIGH = "output trim high", "output trim at the high end"
        ZERO = "zero"
        SPAN = "span"
        OTHER = "other"

    record = models.ForeignKey(Calibration, models.PROTECT, related_name="adjustments")
    number = models.PositiveSmallIntegerField("number")
    kind = models.CharField("adjusted", max_length=16, choices=Kind)
    before = models.DecimalField("before", max_digits=10, decimal_places=5, null=True, blank=True)
    after = models.DecimalField("after", max_digits=10, decimal_places=5, null=True, blank=True)
    note = models.CharField("note", max_length=200, blank=True)
    adjusted_at = models.DateTimeField("when", null=True, blank=True)

    class Meta:
        ordering = ["record", "number"]
        constraints = [
            models.UniqueConstraint("record", "number", name="one_adjustment_per_number")
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.before} to {self.after}"

    @property
    def stage(self) -> str:
        return "output" if self.kind.startswith("output") else "primary"


class StandardUse(models.Model):
    """A standard used for a record, with the certificate that covered the day (the database checks
    it).
    """

    record = models.ForeignKey(Calibration, models.PROTECT, related_name="standards_used")
    standard = models.ForeignKey(
        "calibration.ReferenceStandard", models.PROTECT, related_name="uses"
    )
    certificate = models.ForeignKey(
        "calibration.StandardCertificate", models.PROTECT, related_name="uses"
    )

    class Meta:
        ordering = ["record", "standard"]
        constraints = [
            models.UniqueConstraint(
                "record", "standard", name="a_standard_is_named_once_in_a_record"
            )
        ]

    def __str__(self) -> str:
        return str(self.standard)


class StepTaken(models.Model):
    """One step of the procedure as it was done: acknowledged, answered, or left out with the
    reason.
    """

    record = models.ForeignKey(
        "calibration.Calibration", models.PROTECT, related_name="steps_taken"
    )
    number = models.PositiveSmallIntegerField("step")
    key = models.CharField(max_length=12, blank=True)
    kind = models.CharField("kind", max_length=8)
    text = models.TextField("text")
    # By the tablet's clock, which is a claim (FieldWork.skew_seconds says how far it was off).
    done_at = models.DateTimeField("done", null=True, blank=True)
    by_name = models.CharField("by", max_length=120)
    # [{"label": …, "value": …, "unit": …}, …] as typed
    answers = models.JSONField("answers", default=list, blank=True)
    note = models.TextField("note", blank=True)
    skipped_why = models.CharField("why left out", max_length=300, blank=True)

    class Meta:
        ordering = ["record", "number"]
        constraints = [
            models.UniqueConstraint("record", "number", name="a_step_is_taken_once_in_a_record"),
            models.CheckConstraint(
                name="step_was_done_or_left_out_with_a_reason",
                condition=Q(done_at__isnull=False, skipped_why="")
                | Q(done_at=None) & ~Q(skipped_why=""),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}. {self.text[:60]}"
