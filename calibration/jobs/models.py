from __future__ import annotations

from typing import Self

from django.db import models
from django.db.models import Q

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class JobQuerySet(SiteQuerySet):
    def open(self) -> Self:
        return self.filter(state__in=Job.OPEN)


class Job(models.Model):
    """One calibration to be done: why, by whom, when. A job in a round is one of its stops."""

    class State(LowerCaseChoices):
        PLANNED = "planned"
        IN_HAND = "in hand"
        SUBMITTED = "submitted"
        RETURNED = "returned"
        APPROVED = "approved"
        CANCELLED = "cancelled"

    class Why(LowerCaseChoices):
        INTERVAL = "interval"
        PRODUCT_CHANGE = "product change"
        REPAIR = "after repair"
        SWAP = "swap", "swap of the transmitter"
        REQUEST = "request"

    OPEN = ("planned", "in hand", "returned")

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="jobs")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="jobs", db_constraint=False
    )
    why = models.CharField("why", max_length=14, choices=Why, default=Why.INTERVAL)
    state = models.CharField("state", max_length=9, choices=State, default=State.PLANNED)
    due_on = models.DateField("due date")
    technician = models.ForeignKey(
        "plant.Person",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="jobs",
        verbose_name="technician",
    )
    round = models.ForeignKey(
        "calibration.Round",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="stops",
        db_constraint=False,
    )
    stop_number = models.PositiveSmallIntegerField("stop", null=True, blank=True)
    product_change = models.ForeignKey(
        "plant.ProductChange",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="jobs",
    )
    # By how much the change of product moves the reading when full, as computed; None where data
    # are missing.
    shift_percent = models.FloatField("computed shift, % of span", null=True, blank=True)
    planned_on = models.DateField("planned for", null=True, blank=True)
    note = models.TextField("note", blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "id"]
        indexes = [
            models.Index(fields=["technician", "state", "due_on"], name="job_by_technician"),
            models.Index(fields=["site", "state", "due_on"], name="job_by_site"),
        ]
        constraints = [
            models.UniqueConstraint("id", "site", name="job_and_site"),
            models.UniqueConstraint(
                "point",
                condition=Q(state__in=("planned", "in hand", "submitted", "returned")),
                name="one_open_job_per_point",
                violation_error_message="This measuring point already has an open job.",
            ),
            models.UniqueConstraint("round", "stop_number", name="one_job_per_stop_of_a_round"),
            models.CheckConstraint(
                name="a_stop_has_round_and_number_or_neither",
                condition=Q(round=None, stop_number=None)
                | Q(round__isnull=False, stop_number__isnull=False),
            ),
            models.CheckConstraint(
                name="job_state_is_known",
                condition=Q(
                    state__in=[
                        "planned",
                        "in hand",
                        "submitted",
                        "returned",
                        "approved",
                        "cancelled",
                    ]
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"job {self.pk}, {self.point}"

    def get_absolute_url(self) -> str:
        return f"/jobs/{self.pk}/"

    @property
    def right_to_cancel(self) -> str:
        """Which right it takes (plant.people.roles.ACTS): a demand is an approver's to cancel."""
        return "approve" if self.is_demand else "plan"

    @property
    def is_demand(self) -> bool:
        """Something speaks against the reading: the point is in doubt until this is done."""
        return self.why != Job.Why.INTERVAL or self.product_change_id is not None
