"""What belongs to a record: its readings, adjustments, standards and steps as taken."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from calibration.records.models.calibration import Calibration
from plant.choices import LowerCaseChoices

FAILURES = ["failure low", "failure high"]


class Reading(models.Model):
    """One pair of applied value and observed output. Digits are kept as typed.

    As it stands the level may be unknown, on a bench or in a storm: then the reason stands instead
    of a level, there is no error, and only a failure is judged.
    """

    NOT_JUDGED = "not judged"

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
    applied = models.DecimalField("applied", max_digits=14, decimal_places=5, null=True, blank=True)
    no_level_reason = models.CharField(
        "why no level is known", max_length=300, blank=True, default="", db_default=""
    )
    expected = models.DecimalField(
        "expected", max_digits=10, decimal_places=5, null=True, blank=True
    )
    observed = models.DecimalField(
        "observed", max_digits=10, decimal_places=5, null=True, blank=True
    )
    observed_indication = models.DecimalField(
        "observed indication", max_digits=14, decimal_places=5, null=True, blank=True
    )
    error_percent = models.FloatField("error, % of span", null=True, blank=True)
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
                name="reading_has_a_level_or_as_it_stands_the_reason_why_not",
                condition=Q(
                    applied__isnull=False,
                    expected__isnull=False,
                    error_percent__isnull=False,
                    no_level_reason="",
                )
                | (
                    Q(stage="as it stands", applied=None, expected=None, error_percent=None)
                    & ~Q(no_level_reason="")
                ),
                violation_error_message="A reading needs the level at which it was taken; only as "
                "it stands the reason why none is known will do.",
            ),
            models.CheckConstraint(
                name="without_a_level_only_a_failure_is_judged",
                condition=Q(applied__isnull=False)
                | Q(verdict="fail", band__in=FAILURES)
                | Q(verdict="not judged") & ~Q(band__in=FAILURES),
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
