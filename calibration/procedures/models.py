"""Procedures and their versions. A record keeps the version it followed; a published version never
changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.functional import cached_property

from calibration.procedures.version_change import Content, Step
from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet

if TYPE_CHECKING:
    from plant.transmitters.models import Transmitter


class InputWay(LowerCaseChoices):
    """How the input is applied; each way has its own uncertainty."""

    SIMULATED_OUTPUT = "simulated output"
    DIP = "wetted level by dip"
    GAUGE_GLASS = "wetted level by gauge glass"
    PROBE_RAISED = "probe raised out of product"
    CAPACITANCE = "capacitance substituted"
    PRESSURE = "pressure applied"
    TARGET = "target at known distance"
    WEIGHTS = "weights on hanger"
    FLOAT_MOVED = "float moved along its rod"


# Ways that never touch the primary element (trade practice: a simulated output tests output, loop
# and card; a substituted capacitance the electronics).
OUTPUT_ALONE = (InputWay.SIMULATED_OUTPUT, InputWay.CAPACITANCE)


class Shape(LowerCaseChoices):
    """What a procedure reads: the tablet lays out its screens by it."""

    POINTS = "test points"
    TWO_LEVELS = "two known levels"
    LOOK = "as it stands only"


class Procedure(models.Model):
    key = models.SlugField("key", max_length=40, unique=True)
    name = models.CharField("name", max_length=120)
    principles = ArrayField(models.CharField(max_length=24), default=list)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return f"/procedures/{self.key}/"

    def newest(self) -> ProcedureVersion | None:
        """The newest published version; asks nothing where the versions are prefetched."""
        return next((version for version in self.versions.all() if version.published_on), None)


class ProcedureVersion(models.Model):
    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField("version")
    way = models.CharField("input applied by", max_length=32, choices=InputWay)
    shape = models.CharField("reads", max_length=20, choices=Shape, default=Shape.POINTS)
    percents = ArrayField(
        models.DecimalField(max_digits=6, decimal_places=2),
        help_text="Test points, % of span, rising.",
    )
    up_and_down = models.BooleanField("rising and falling", default=True)
    settle_seconds = models.PositiveIntegerField("settle, s", default=30)
    # Which parts of the measurement it tests; the input way bounds them (``PARTS_OF``).
    covers_output = models.BooleanField("covers the output", default=True, db_default=True)
    covers_primary = models.BooleanField(
        "covers the primary element", default=True, db_default=True
    )
    is_check = models.BooleanField(
        "a check, not a calibration",
        default=False,
        db_default=False,
        help_text="A check is evidence for trend and status; it never moves the due date.",
    )
    # Kinds of Adjustment that this procedure allows; none: it only looks.
    adjusts = ArrayField(models.CharField(max_length=16), default=list, blank=True)
    # When to stop and call for help, besides what a single step says.
    stops = ArrayField(models.TextField(), default=list, blank=True)
    published_on = models.DateField("published on", null=True, blank=True)
    reason = models.CharField("what changed and why", max_length=300, blank=True)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [
            models.UniqueConstraint("procedure", "number", name="procedure_version_number_unique"),
            models.CheckConstraint(
                name="procedure_covers_a_part",
                condition=models.Q(covers_output=True) | models.Q(covers_primary=True),
                violation_error_message="A procedure covers the output, the primary element or "
                "both.",
            ),
            models.CheckConstraint(
                name="way_reaches_the_primary_element",
                condition=models.Q(covers_primary=False) | ~models.Q(way__in=OUTPUT_ALONE),
                violation_error_message="This way of applying the input does not test the primary "
                "element.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure}, version {self.number}"

    @cached_property
    def units_asked(self) -> frozenset[str]:
        """Units of the numbers that its steps ask for, such as Ω of a bond."""
        return units_of(step.asks for step in self.steps.all())

    @property
    def tested(self) -> str:
        """Which parts it tests, in words."""
        named = ((self.covers_output, "output"), (self.covers_primary, "primary element"))
        return " and ".join(name for is_covered, name in named if is_covered)

    @property
    def content(self) -> Content:
        """All that it says."""
        return Content(
            way=self.way,
            percents=self.percents,
            up_and_down=self.up_and_down,
            settle_seconds=self.settle_seconds,
            shape=self.shape,
            covers_output=self.covers_output,
            covers_primary=self.covers_primary,
            is_check=self.is_check,
            adjusts=self.adjusts,
            stops=self.stops,
            steps=[
                Step(s.kind, s.text, s.key, s.stage, s.settle_seconds, s.asks, s.stop)
                for s in self.steps.all()
            ],
        )


def units_of(asks: Iterable[Sequence[dict[str, Any]]]) -> frozenset[str]:
    """Units of the numbers that are asked for; ``asks``: what each step asks."""
    every = [ask for some in asks for ask in some]
    return frozenset(ask["unit"] for ask in every if ask["kind"] == "number" and ask["unit"])


def parts_tested(version: ProcedureVersion | None, way: str) -> dict[str, bool]:
    """The columns of a record that say which parts it tested: by its procedure, as far as the way
    of applying the input reaches; by that way alone where no procedure is named.
    """
    reaches = way not in OUTPUT_ALONE
    if version is None:
        return {"covers_output": True, "covers_primary": reaches, "is_check": False}
    return {
        # A way that never touches the primary element tests the output at least.
        "covers_output": version.covers_output or not reaches,
        "covers_primary": version.covers_primary and reaches,
        "is_check": version.is_check,
    }


class ProcedureStep(models.Model):
    class Kind(LowerCaseChoices):
        CAUTION = "caution"
        PREPARE = "prepare"
        READ = "read"
        ADJUST = "adjust"
        RESTORE = "restore"

    class Stage(LowerCaseChoices):
        AS_IT_STANDS = "as it stands"
        AS_FOUND = "as found"
        AS_LEFT = "as left"

    version = models.ForeignKey(ProcedureVersion, models.PROTECT, related_name="steps")
    number = models.PositiveSmallIntegerField("step")
    # Stable between versions, so that a site's own wording finds its step again: A1, O3, Z4.
    key = models.CharField("key", max_length=12, blank=True)
    kind = models.CharField("kind", max_length=8, choices=Kind)
    # Of a read step: which of the record's stages; empty for a check that is noted among the
    # answers.
    stage = models.CharField("stage", max_length=12, blank=True, choices=Stage)
    text = models.TextField("text")
    settle_seconds = models.PositiveIntegerField("settle, s", null=True, blank=True)
    # What is noted: [{"name", "label", "kind": text | number | time | tick | photo | standards,
    # "unit", "needed"}, …]
    asks = models.JSONField("asks for", default=list, blank=True)
    stop = models.CharField("stop and call for help", max_length=300, blank=True)

    class Meta:
        ordering = ["version", "number"]
        constraints = [
            models.UniqueConstraint("version", "number", name="procedure_step_number_unique"),
            models.CheckConstraint(
                name="step_kind_is_known",
                condition=models.Q(kind__in=["caution", "prepare", "read", "adjust", "restore"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}. {self.text[:60]}"


class SiteWordingQuerySet(SiteQuerySet):
    def beside(
        self, procedure: Procedure, *, site_id: int, transmitter: Transmitter | None
    ) -> dict[str, list[SiteWording]]:
        """By the key of its step: what the site words for this transmitter."""
        rows: Any = self.filter(procedure=procedure, site=site_id)
        by_key: dict[str, list[SiteWording]] = {}
        for row in rows:
            if row.fits(transmitter):
                by_key.setdefault(row.step_key, []).append(row)
        return by_key


class SiteWording(models.Model):
    """What a site adds to a step for its own devices: which key is held how long, which lamp
    blinks.
    """

    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="wordings")
    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="wordings")
    step_key = models.CharField("step", max_length=12)
    devices = models.CharField(
        "devices",
        max_length=160,
        blank=True,
        help_text="Maker or model as in the register; empty for all.",
    )
    text = models.TextField("wording")

    objects = SiteWordingQuerySet.as_manager()

    class Meta:
        ordering = ["site", "procedure", "step_key", "devices"]
        constraints = [
            models.UniqueConstraint(
                "site",
                "procedure",
                "step_key",
                "devices",
                name="one_wording_per_site_step_and_device",
                violation_error_message="This step already has a wording for those devices; "
                "change that one.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step_key}: {self.text[:60]}"

    def fits(self, transmitter: Transmitter | None) -> bool:
        """Whether one of its devices is part of maker and model; the tablet asks the same
        (field/screens/asides.js).
        """
        device = f"{transmitter.maker} {transmitter.model}" if transmitter else " "
        names = [name.strip().lower() for name in self.devices.split(",")]
        return not self.devices or any(name in device.lower() for name in names)
