"""Reference standards and the certificates that make them fit for use on a day."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Self

from django.db import models
from django.db.models import F, Max, Q

from plant.choices import LowerCaseChoices
from plant.quantities import number, with_unit
from plant.sites.querysets import SiteQuerySet


class StandardQuerySet(SiteQuerySet):
    def with_end(self, today: dt.date) -> Self:
        """Each with ``ends_on``: the last day that a certificate not withdrawn by ``today``
        covers.
        """
        standing = Q(certificates__withdrawn_on=None) | Q(certificates__withdrawn_on__gt=today)
        return self.annotate(ends_on=Max("certificates__valid_until", filter=standing))


class ReferenceStandard(models.Model):
    class Kind(LowerCaseChoices):
        MULTIMETER = "multimeter"
        LOOP_CALIBRATOR = "loop calibrator"
        DECADE_BOX = "capacitance decade box"
        DIP_TAPE = "dip tape"
        PRESSURE_CALIBRATOR = "pressure calibrator"
        THERMOMETER = "thermometer"
        HYDROMETER = "hydrometer"
        LENGTH = "laser or steel tape"
        WEIGHTS = "weights"
        RESISTOR = "resistor"
        BOND_TESTER = "bond or insulation tester"
        OTHER = "other"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="standards")
    name = models.CharField(
        "identity", max_length=40, help_text="As marked on it, for example MM-04."
    )
    kind = models.CharField("kind", max_length=28, choices=Kind)
    maker = models.CharField("maker", max_length=80, blank=True)
    model = models.CharField("model", max_length=80, blank=True)
    serial = models.CharField("serial number", max_length=60, blank=True)
    interval_months = models.PositiveSmallIntegerField("recalibration interval, months", default=12)
    holder = models.ForeignKey(
        "plant.Person",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="kit",
        verbose_name="in the kit of",
        help_text="Empty: shared by the site.",
    )
    note = models.TextField("note", blank=True)
    withdrawn_on = models.DateField("withdrawn on", null=True, blank=True)
    withdrawn_why = models.CharField("why withdrawn", max_length=200, blank=True)

    objects = StandardQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        verbose_name = "reference standard"
        constraints = [
            models.UniqueConstraint(
                "site",
                "name",
                name="standard_name_unique_in_its_site",
                violation_error_message="This site already has a reference standard of that "
                "identity.",
            ),
            models.UniqueConstraint("id", "site", name="standard_and_site"),
            models.CheckConstraint(
                name="standard_withdrawal_has_a_reason",
                condition=Q(withdrawn_on=None) | ~Q(withdrawn_why=""),
                violation_error_message="Say why the standard is withdrawn.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return f"/standards/{self.pk}/"


class CertificateQuerySet(models.QuerySet):
    def covering(self, day: dt.date) -> Self:
        return self.filter(issued_on__lte=day, valid_until__gte=day).filter(
            Q(withdrawn_on=None) | Q(withdrawn_on__gt=day)
        )


class StandardCertificate(models.Model):
    """A laboratory's statement. Accuracy: ± (% of reading + % of range + absolute part), in
    ``unit``.
    """

    standard = models.ForeignKey(ReferenceStandard, models.PROTECT, related_name="certificates")
    number = models.CharField("certificate number", max_length=60)
    laboratory = models.CharField("laboratory", max_length=120)
    accreditation = models.CharField("accreditation", max_length=60, blank=True)
    issued_on = models.DateField("issued on")
    valid_until = models.DateField("valid until")
    unit = models.CharField("unit", max_length=10, default="mA")
    range_low = models.DecimalField(
        "range from", max_digits=14, decimal_places=5, null=True, blank=True
    )
    range_high = models.DecimalField(
        "range to", max_digits=14, decimal_places=5, null=True, blank=True
    )
    percent_of_reading = models.DecimalField(
        "accuracy, % of reading", max_digits=8, decimal_places=5, null=True, blank=True
    )
    percent_of_range = models.DecimalField(
        "accuracy, % of range", max_digits=8, decimal_places=5, null=True, blank=True
    )
    absolute = models.DecimalField(
        "accuracy, absolute part", max_digits=12, decimal_places=6, null=True, blank=True
    )
    deviation = models.DecimalField(
        "certified deviation",
        max_digits=12,
        decimal_places=6,
        null=True,
        blank=True,
        help_text="What it shows or is marked, less the true value: 0.004 where a meter shows "
        "20.004 mA of 20 mA. Errors are corrected for it; enter none where readings already are.",
    )
    resolution = models.DecimalField(
        "resolution", max_digits=12, decimal_places=6, null=True, blank=True
    )
    expanded_uncertainty = models.DecimalField(
        "expanded uncertainty U", max_digits=12, decimal_places=6, null=True, blank=True
    )
    coverage_factor = models.DecimalField(
        "coverage factor k", max_digits=5, decimal_places=3, null=True, blank=True
    )
    stored_as = models.CharField(max_length=200, blank=True)
    file_name = models.CharField("file", max_length=200, blank=True)
    file_sha256 = models.CharField(max_length=64, blank=True)
    withdrawn_on = models.DateField("withdrawn on", null=True, blank=True)
    withdrawn_why = models.CharField("why withdrawn", max_length=200, blank=True)

    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = ["-valid_until"]
        verbose_name = "certificate"
        constraints = [
            models.UniqueConstraint(
                "standard",
                "number",
                name="certificate_number_unique_per_standard",
                violation_error_message="This standard already has a certificate of that number.",
            ),
            models.UniqueConstraint("id", "standard", name="certificate_and_standard"),
            models.CheckConstraint(
                name="certificate_valid_after_issue",
                condition=Q(valid_until__gte=F("issued_on")),
                violation_error_message="A certificate cannot end before it was issued.",
            ),
            models.CheckConstraint(
                name="uncertainty_and_k_come_together",
                condition=Q(expanded_uncertainty=None, coverage_factor=None)
                | Q(
                    expanded_uncertainty__isnull=False,
                    coverage_factor__isnull=False,
                    expanded_uncertainty__gt=0,
                    coverage_factor__gt=0,
                ),
                violation_error_message="Give U and k together, both above zero.",
            ),
            models.CheckConstraint(
                name="certificate_withdrawal_has_a_reason",
                condition=Q(withdrawn_on=None) | ~Q(withdrawn_why=""),
                violation_error_message="Say why the certificate is withdrawn.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.standard} {self.number}"

    @property
    def site_id(self) -> int:
        return self.standard.site_id

    @property
    def deviation_text(self) -> str:
        return deviation_text(self.deviation, self.unit) if self.deviation else ""


def deviation_text(deviation: Decimal | float, unit: str) -> str:
    """With its sign and unit, and no digits that say nothing.

    >>> deviation_text(-2.5, "mm") == "−2.5\u00a0mm"
    True
    """
    return with_unit(number(deviation, 6, signed=True).rstrip("0").rstrip("."), unit)
