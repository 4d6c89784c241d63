"""What comes in from the plant: works recorded on a tablet, signed, sent, and set aside where two
truths meet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Q

from plant.choices import LowerCaseChoices
from plant.sites.querysets import SiteQuerySet

if TYPE_CHECKING:
    from plant.people.models import Person


class FieldKey(models.Model):
    """With this key a person's unsent work is sealed on the tablets they use; it is handed out at
    sign-in only.
    """

    person = models.OneToOneField("plant.Person", models.PROTECT, related_name="field_key")
    key = models.BinaryField(max_length=32)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"key of {self.person}"


class FieldWorkQuerySet(SiteQuerySet):
    def shown_to(self, person: Person) -> Self:
        """All works of the sites where ``person`` plans, approves or audits; elsewhere their
        own.
        """
        all_of = Q(site__in=person.site_ids("read ledger"))
        return self.seen_by(person).filter(all_of | Q(person=person))


class FieldWork(models.Model):
    """One calibration done on a tablet: signed by its hash, then sent; ``submission`` is made on
    the tablet.

    ``content`` is the very text that was signed (JSON), empty until it has arrived. Where it cannot
    become a record by today's register, it is set aside with the reasons until a person
    settles it; never dropped, never merged.
    """

    class State(LowerCaseChoices):
        SIGNED = "signed", "signed, not yet here"
        STORED = "stored", "stored as a record"
        SET_ASIDE = "set aside"
        SETTLED = "settled", "settled, kept without a record"

    submission = models.UUIDField("submission", unique=True)
    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="field_works")
    job = models.ForeignKey("calibration.Job", models.PROTECT, related_name="field_works")
    person = models.ForeignKey("plant.Person", models.PROTECT, related_name="field_works")
    state = models.CharField("state", max_length=9, choices=State, default=State.SIGNED)
    content_sha256 = models.CharField("content", max_length=64)
    content = models.TextField(blank=True)
    signed_at = models.DateTimeField("signed")
    received_at = models.DateTimeField("received", null=True, blank=True)
    device = models.CharField("device", max_length=120, blank=True)
    # The tablet's clock is a claim: how far it was from the server's when the work was signed, + if
    # ahead.
    skew_seconds = models.FloatField("tablet's clock ahead by, s", default=0)
    record = models.OneToOneField(
        "calibration.Calibration",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="field_work",
    )
    # Why it could not become a record: [{"what": …, "said": …}, …]
    troubles = models.JSONField("why set aside", default=list, blank=True)
    settled_by = models.ForeignKey(
        "plant.Person", models.PROTECT, null=True, blank=True, related_name="+"
    )
    settled_at = models.DateTimeField("settled", null=True, blank=True)
    settled_why = models.TextField("how it was settled", blank=True)

    objects = FieldWorkQuerySet.as_manager()

    class Meta:
        ordering = ["-signed_at", "-id"]
        indexes = [
            models.Index(
                fields=["site", "signed_at"],
                condition=Q(state="set aside"),
                name="field_work_set_aside",
            ),
            models.Index(fields=["job", "id"], name="field_work_by_job"),
        ]
        constraints = [
            models.CheckConstraint(
                name="field_work_state_is_known",
                condition=Q(state__in=["signed", "stored", "set aside", "settled"]),
            ),
            models.CheckConstraint(
                name="field_work_has_content_once_received",
                condition=Q(state="signed", received_at=None, content="")
                | ~Q(state="signed") & Q(received_at__isnull=False) & ~Q(content=""),
            ),
            models.CheckConstraint(
                name="stored_field_work_has_its_record",
                condition=Q(state="stored", record__isnull=False)
                | ~Q(state="stored") & Q(record=None),
            ),
            models.CheckConstraint(
                name="field_work_set_aside_says_why",
                condition=~Q(state__in=["set aside", "settled"]) | ~Q(troubles=[]),
            ),
            models.CheckConstraint(
                name="settled_field_work_has_person_time_and_reason",
                condition=Q(settled_by=None, settled_at=None, settled_why="")
                | Q(settled_by__isnull=False, settled_at__isnull=False) & ~Q(settled_why=""),
            ),
            models.CheckConstraint(
                name="field_work_settled_without_record_was_settled_by_somebody",
                condition=~Q(state="settled") | Q(settled_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"work {self.pk} of {self.person}"

    def get_absolute_url(self) -> str:
        return f"/set-aside/{self.pk}/"


class FieldPhoto(models.Model):
    """A photo taken on a step. ``sha256`` is of the bytes the tablet signed; what is stored is
    encoded anew.
    """

    work = models.ForeignKey(FieldWork, models.PROTECT, related_name="photos")
    sha256 = models.CharField(max_length=64)
    step = models.PositiveSmallIntegerField("step")
    taken_at = models.DateTimeField("taken, by the tablet's clock", null=True, blank=True)
    received_at = models.DateTimeField("received")
    stored_as = models.CharField(max_length=200)
    stored_sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField("bytes")

    class Meta:
        ordering = ["work", "step", "id"]
        constraints = [
            models.UniqueConstraint("work", "sha256", name="a_photo_is_stored_once_per_work"),
        ]

    def __str__(self) -> str:
        return f"photo of step {self.step}"
