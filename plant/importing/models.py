"""An uploaded file on its way into the register: checked first, applied whole or not at all."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class ImportBatch(models.Model):
    class FileKind(LowerCaseChoices):
        PRODUCTS = "products", "products"
        TANKS = "tanks", "tanks"
        REGISTER = "register", "measuring points and transmitters"
        STANDARDS = "standards", "reference standards and certificates"
        CALIBRATIONS = "calibrations", "past calibrations"

    class ImportState(LowerCaseChoices):
        WAITING = "waiting", "waiting to be checked"
        CHECKING = "checking", "being checked"
        CHECKED = "checked", "checked, ready to apply"
        REFUSED = "refused", "refused: rows to correct"
        TO_APPLY = "to apply", "waiting to be applied"
        APPLYING = "applying", "being applied"
        APPLIED = "applied", "applied"
        WITHDRAWN = "withdrawn", "withdrawn"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="import_batches")
    kind = models.CharField("what", max_length=12, choices=FileKind)
    file_name = models.CharField("file", max_length=200)
    stored_as = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size = models.BigIntegerField()
    uploaded_by = models.ForeignKey("plant.Person", models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=ImportState, default=ImportState.WAITING)
    progress = models.PositiveSmallIntegerField("progress, %", default=0)
    rows_read = models.IntegerField(default=0)
    rows_new = models.IntegerField(default=0)
    rows_changed = models.IntegerField(default=0)
    rows_same = models.IntegerField(default=0)
    problems_found = models.IntegerField(default=0)
    claimed_until = models.DateTimeField(null=True, blank=True)
    # What checking noted besides problems: notes, warnings, and the first rows that would change.
    report = models.JSONField(default=dict, blank=True, editable=False)
    # Who asked for it to be applied, and why where it changes what is stored; a worker may do it
    # later.
    applied_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+", editable=False
    )
    why = models.TextField("why", blank=True)
    applied_at = models.DateTimeField(null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name = "import"
        constraints = [
            models.CheckConstraint(
                name="nothing_with_problems_is_applied",
                condition=~Q(state__in=["checked", "to apply", "applying", "applied"])
                | Q(problems_found=0),
            ),
            models.CheckConstraint(
                name="applied_import_has_its_time",
                condition=Q(state="applied", applied_at__isnull=False)
                | (~Q(state="applied") & Q(applied_at=None)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.file_name} ({self.get_kind_display()})"


class ImportProblem(models.Model):
    """One thing wrong in an uploaded file: the row as the person's own program numbers it, the
    column, the reason.
    """

    batch = models.ForeignKey(ImportBatch, models.CASCADE, related_name="problems")
    row = models.IntegerField("row")
    column = models.CharField("column", max_length=80)
    value = models.CharField("value", max_length=120, blank=True)
    reason = models.CharField("reason", max_length=300)

    class Meta:
        ordering = ["row", "id"]

    def __str__(self) -> str:
        return f"row {self.row}, {self.column}: {self.reason}"
