from __future__ import annotations

from typing import Self

from django.db import models
from django.db.models import F, Q

from calibration.policies.models import Policy
from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet


class ProposalQuerySet(SiteQuerySet):
    def open(self) -> Self:
        return self.filter(state=Proposal.State.OPEN)


class Proposal(models.Model):
    """A new interval for a point, with its numbers and its reasons; a planner accepts it or
    declines it.

    A longer interval for safety duty waits for an approver. A later pass takes back what no longer
    holds.
    """

    class State(LowerCaseChoices):
        OPEN = "open"
        AGREED = "agreed", "agreed, waits for an approver"
        ACCEPTED = "accepted"
        DECLINED = "declined"
        REPLACED = "replaced", "replaced by later figures"

    WAITING = ("open", "agreed")

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="proposals")
    point = models.ForeignKey(
        "plant.MeasuringPoint", models.PROTECT, related_name="proposals", db_constraint=False
    )
    made_at = models.DateTimeField("made")
    method = models.CharField("interval by", max_length=12, choices=Policy.Method)
    months_now = models.PositiveSmallIntegerField("now, months")
    months = models.PositiveSmallIntegerField("proposed, months")
    # Of being in tolerance as found at the end of each; None where the method does not say.
    in_tolerance_now = models.FloatField(null=True, blank=True)
    in_tolerance = models.FloatField(null=True, blank=True)
    # [{"says": …, numbers …}, …] in the order they are shown; worded by intervals.reasons.
    reasons = models.JSONField(default=list)
    state = models.CharField("state", max_length=8, choices=State, default=State.OPEN)
    agreed_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    agreed_at = models.DateTimeField("agreed", null=True, blank=True)
    decided_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField("decided", null=True, blank=True)
    why = models.TextField("why", blank=True)

    objects = ProposalQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [
            models.Index(
                fields=["site", "-made_at", "-id"],
                condition=Q(state__in=["open", "agreed"]),
                name="proposal_waiting",
            ),
            models.Index(fields=["point", "-made_at"], name="proposal_by_point"),
        ]
        constraints = [
            models.UniqueConstraint(
                "point",
                condition=Q(state__in=["open", "agreed"]),
                name="one_waiting_proposal_a_point",
            ),
            models.CheckConstraint(
                name="a_proposal_changes_the_interval",
                condition=~Q(months=F("months_now")) & Q(months__gte=1, months__lte=120),
            ),
            models.CheckConstraint(
                name="a_decision_has_person_and_time",
                condition=Q(
                    state__in=["accepted", "declined"],
                    decided_by__isnull=False,
                    decided_at__isnull=False,
                )
                | Q(state__in=["open", "agreed", "replaced"], decided_by=None, decided_at=None),
            ),
            models.CheckConstraint(
                name="a_declined_proposal_has_a_reason",
                condition=~Q(state="declined") | ~Q(why=""),
                violation_error_message="Say why it is declined.",
            ),
        ]

    def __str__(self) -> str:
        return f"interval of {self.point}: {self.months_now} to {self.months} months"

    def get_absolute_url(self) -> str:
        return f"/proposals/{self.pk}/"

    @property
    def is_longer(self) -> bool:
        return self.months > self.months_now
