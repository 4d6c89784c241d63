"""How results are judged and the next interval is chosen: for a duty at a site, or for one
measuring point.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from plant.choices import LowerCaseChoices
from plant.points.models import MeasuringPoint
from plant.sites.querysets import SiteQuerySet

FEW_POINTS = 1000


class PolicyQuerySet(SiteQuerySet["Policy"]):
    def of_points(self, points: Iterable[MeasuringPoint]) -> dict[int, Policy]:
        """The policy that holds for each point, by its key: its own, else its duty's, else the
        defaults.
        """
        wanted = list(points)
        held = self.holding([(point.pk, point.site_id, point.duty) for point in wanted])
        return {point.pk: policy for point, policy in zip(wanted, held, strict=True)}

    def holding(self, wanted: Sequence[tuple[int, int, str]]) -> list[Policy]:
        """The same of (point, site, duty), in their order (one query); points under one policy
        share its object.
        """
        points, sites = [point for point, _, _ in wanted], {site for _, site, _ in wanted}
        # A long list of points costs more to send and look up than the few policies of their sites.
        rows = self.filter(site__in=sites)
        if len(points) <= FEW_POINTS:
            rows = rows.filter(Q(point=None) | Q(point__in=points))
        own: dict[int | None, Policy] = {}
        duty: dict[tuple[int, str], Policy] = {}
        for row in rows:
            if row.point_id:
                own[row.point_id] = row
            else:
                duty[row.site_id, row.duty] = row
        for site, word in {(site, word) for _, site, word in wanted} - duty.keys():
            duty[site, word] = Policy(site_id=site, duty=word)
        return [own.get(point) or duty[site, word] for point, site, word in wanted]

    def of_point(self, point: MeasuringPoint) -> Policy:
        return self.of_points([point])[point.pk]


class Policy(models.Model):
    """One row a duty and site, or one a point. A duty without a row follows the defaults of these
    fields.
    """

    class Rule(LowerCaseChoices):
        SIMPLE = "simple acceptance"
        GUARD = "guard band"
        RISK = "limited risk", "limited risk of a false accept"

    class Method(LowerCaseChoices):
        FIXED = "fixed", "as set by hand"
        STAIRCASE = "staircase"
        DRIFT = "drift", "drift and its uncertainty"
        RELIABILITY = "reliability", "reliability of the family"

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="policies")
    duty = models.CharField("duty", max_length=12, choices=MeasuringPoint.Duty, blank=True)
    point = models.OneToOneField(
        "plant.MeasuringPoint",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="policy",
        db_constraint=False,
    )

    rule = models.CharField("decision rule", max_length=20, choices=Rule, default=Rule.SIMPLE)
    guard_share = models.DecimalField(
        "guard band, times U", max_digits=4, decimal_places=2, default=Decimal(1)
    )
    risk_percent = models.DecimalField(
        "false accept at most, %", max_digits=4, decimal_places=2, default=Decimal("2.5")
    )
    least_tur = models.DecimalField(
        "warn below a test uncertainty ratio of", max_digits=3, decimal_places=1, default=Decimal(4)
    )

    least_chance_percent = models.DecimalField(
        "in doubt below a chance of passing of, %",
        max_digits=4,
        decimal_places=1,
        default=80,
        db_default=80,
    )
    parts_within_days = models.PositiveSmallIntegerField(
        "output and primary element within, days", default=30, db_default=30
    )

    method = models.CharField("interval by", max_length=12, choices=Method, default=Method.DRIFT)
    target_percent = models.DecimalField(
        "in tolerance when due, %", max_digits=4, decimal_places=2, default=Decimal(95)
    )
    shortest_months = models.PositiveSmallIntegerField("shortest interval, months", default=3)
    longest_months = models.PositiveSmallIntegerField("longest interval, months", default=60)
    lengthen = models.DecimalField(
        "longer at most, times", max_digits=3, decimal_places=1, default=Decimal(2)
    )
    stair_longer_percent = models.DecimalField(
        "staircase: longer by, %", max_digits=4, decimal_places=1, default=Decimal(10)
    )
    stair_shorter_percent = models.DecimalField(
        "staircase: shorter by, %", max_digits=4, decimal_places=1, default=Decimal(55)
    )

    objects = PolicyQuerySet.as_manager()

    class Meta:
        ordering = ["site", "duty", "point"]
        verbose_name_plural = "policies"
        constraints = [
            models.UniqueConstraint(
                "site", "duty", condition=Q(point=None), name="one_policy_a_duty_and_site"
            ),
            models.CheckConstraint(
                name="policy_is_of_a_duty_or_a_point",
                condition=Q(point=None) & ~Q(duty="") | Q(point__isnull=False, duty=""),
            ),
            models.CheckConstraint(
                name="guard_band_from_0_to_2_U",
                condition=Q(guard_share__gt=0, guard_share__lte=2),
                violation_error_message="The guard band must be above zero and at most 2 U.",
            ),
            models.CheckConstraint(
                name="risk_below_half",
                condition=Q(risk_percent__gt=0, risk_percent__lt=50),
                violation_error_message="The risk must be between 0 and 50 %%.",
            ),
            models.CheckConstraint(
                name="target_from_50_to_99_9",
                condition=Q(target_percent__gte=50, target_percent__lte=Decimal("99.9")),
                violation_error_message="The target must be between 50 and 99.9 %%.",
            ),
            models.CheckConstraint(
                name="least_chance_from_50_to_99",
                condition=Q(least_chance_percent__gte=50, least_chance_percent__lte=99),
                violation_error_message="The least chance of passing must be between 50 and 99 %%.",
            ),
            models.CheckConstraint(
                name="parts_within_a_year",
                condition=Q(parts_within_days__lte=366),
                violation_error_message="Output and primary element must be calibrated within 0 "
                "to 366 days of each other.",
            ),
            models.CheckConstraint(
                name="shortest_below_longest_interval",
                condition=Q(
                    shortest_months__gte=1,
                    longest_months__lte=120,
                    shortest_months__lt=F("longest_months"),
                ),
                violation_error_message="The shortest interval must lie below the longest, within "
                "1 to 120 months.",
            ),
            models.CheckConstraint(
                name="policy_steps_make_sense",
                condition=Q(
                    lengthen__gte=1,
                    least_tur__gte=1,
                    stair_longer_percent__gt=0,
                    stair_shorter_percent__gt=0,
                    stair_shorter_percent__lt=100,
                ),
                violation_error_message=(
                    "Longer at most: 1 × or more. Staircase: longer by more than 0 %%, shorter by "
                    "more than 0 and less than 100 %%."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"policy of {self.point}" if self.point_id else f"policy of {self.duty} duty"

    @property
    def rule_text(self) -> str:
        """The decision rule as records and certificates state it."""
        if self.rule == self.Rule.GUARD:
            return f"guard band of {self.guard_share.normalize():f} U"
        if self.rule == self.Rule.RISK:
            return f"risk of a false accept at most {self.risk_percent.normalize():f} %"
        return "simple acceptance"
