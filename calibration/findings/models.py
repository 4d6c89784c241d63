from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from plant.sites.querysets import SiteQuerySet


class Finding(models.Model):
    """As found out of tolerance: readings since the last good as left are in doubt until somebody
    has judged them.

    Closed by a signed assessment and another person's agreement.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="findings")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="findings", db_constraint=False
    )
    record = models.OneToOneField("calibration.Calibration", models.PROTECT, related_name="finding")
    opened_at = models.DateTimeField("opened")
    doubtful_from = models.DateField("in doubt from", null=True, blank=True)
    doubtful_until = models.DateField("in doubt until")
    # None: a reading in a failure band, which has no error value.
    largest_percent = models.FloatField("largest error, % of span", null=True, blank=True)
    assessment = models.TextField("assessment", blank=True)
    assessed_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    assessed_at = models.DateTimeField("assessed", null=True, blank=True)
    agreed_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    closed_at = models.DateTimeField("closed", null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_at"]
        indexes = [
            models.Index(
                fields=["site", "-opened_at"], condition=Q(closed_at=None), name="finding_open"
            ),
            models.Index(fields=["point", "-opened_at"], name="finding_by_point"),
        ]
        constraints = [
            models.CheckConstraint(
                name="an_assessment_has_text_person_and_time",
                condition=Q(assessment="", assessed_by=None, assessed_at=None)
                | ~Q(assessment="") & Q(assessed_by__isnull=False, assessed_at__isnull=False),
            ),
            models.CheckConstraint(
                name="a_closed_finding_is_assessed_and_agreed",
                condition=Q(closed_at=None, agreed_by=None)
                | Q(closed_at__isnull=False, agreed_by__isnull=False, assessed_at__isnull=False),
            ),
            models.CheckConstraint(
                name="assessment_is_agreed_by_another_person",
                condition=Q(agreed_by=None) | ~Q(agreed_by=F("assessed_by")),
                violation_error_message="Another person than the assessor must agree.",
            ),
        ]

    def __str__(self) -> str:
        return f"finding {self.pk}, {self.point}"

    def get_absolute_url(self) -> str:
        return f"/findings/{self.pk}/"
