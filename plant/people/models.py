"""People and what they may do where."""

from __future__ import annotations

from datetime import date
from functools import cached_property

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from plant.people.roles import ACTS, Role


class Person(AbstractUser):
    """One human being. A leaver is closed (``is_active``), never deleted, and the id never serves
    another.
    """

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    name = models.CharField("name", max_length=120)
    email = models.EmailField("e-mail", blank=True)
    wants_mail = models.BooleanField("sends reminders by e-mail", default=True)

    REQUIRED_FIELDS = ["name", "email"]

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name

    @cached_property
    def _today_as(self) -> list[tuple[int, str, str]]:
        """(site id, role, site's name) in force today. Read once a request, so a change counts at
        the next one.
        """
        today = timezone.now().date()
        return list(self.appointments.in_force(today).values_list("site_id", "role", "site__name"))

    @property
    def roles(self) -> set[str]:
        return {role for _, role, _ in self._today_as}

    def roles_at(self, site_id: int) -> set[str]:
        return {role for site, role, _ in self._today_as if site == site_id}

    def site_ids(self, act: str) -> list[int]:
        """The sites on which this person may do ``act`` (a key of plant.people.roles.ACTS)."""
        return sorted({site for site, role, _ in self._today_as if role in ACTS[act]})

    def site_ids_as(self, *roles: str) -> list[int]:
        """The sites where this person holds one of these roles."""
        return sorted({site for site, role, _ in self._today_as if role in roles})

    @property
    def site_names(self) -> list[str]:
        return sorted({name for _, _, name in self._today_as})


class AppointmentQuerySet(models.QuerySet):
    def not_ended(self, on: date) -> AppointmentQuerySet:
        """In force, or still to begin."""
        return self.filter(Q(ends_on=None) | Q(ends_on__gte=on))

    def in_force(self, on: date) -> AppointmentQuerySet:
        return self.not_ended(on).filter(starts_on__lte=on)


class Appointment(models.Model):
    """A person holds a role at a site, from a day and perhaps until a day (both inclusive)."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="appointments")
    site = models.ForeignKey("plant.Site", models.PROTECT, related_name="appointments")
    role = models.CharField("role", max_length=16, choices=Role)
    starts_on = models.DateField("from")
    ends_on = models.DateField("until", null=True, blank=True)

    objects = AppointmentQuerySet.as_manager()

    class Meta:
        ordering = ["site", "role"]
        constraints = [
            models.UniqueConstraint(
                "person",
                "site",
                "role",
                name="one_appointment_per_person_site_and_role",
                violation_error_message="This person already has that role at that site.",
            ),
            models.CheckConstraint(
                name="appointment_ends_after_it_starts",
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                violation_error_message="An appointment cannot end before it starts.",
            ),
            models.CheckConstraint(
                name="appointment_role_is_known", condition=Q(role__in=Role.values)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.role}, {self.site}"
