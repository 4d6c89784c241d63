"""What somebody who has just started Spanbook needs: its address, who can sign in, what is due
today.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from calibration.demo.load import PASSWORD
from calibration.jobs.models import Job
from calibration.records.models import Calibration
from plant.people.models import Appointment, Person
from plant.points.models import MeasuringPoint
from plant.sites.models import Site

PROBE = "ethornquay"


class Command(BaseCommand):
    help = "Print the address, the demo's sign-ins, and what is due today at each site."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("address", nargs="?", default="", help="where Spanbook answers")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["address"]:
            self.stdout.write(f"Spanbook is at {options['address']}")
        if _is_demo():
            self._people()
        elif not Person.objects.exists():
            self.stdout.write("Nobody can sign in yet: add the first site and person (RUNNING.md).")
        for site in Site.objects.all():
            self.stdout.write(_due(site))

    def _people(self) -> None:
        rows = Appointment.objects.in_force(timezone.now().date()).select_related("person", "site")
        sites: dict[tuple[str, str], list[str]] = {}
        for row in rows.order_by("site__name", "person__username"):
            sites.setdefault((row.role, row.person.username), []).append(row.site.name)
        self.stdout.write(f"Sign in with the password {PASSWORD} as")
        for role in ("planner", "technician", "approver", "auditor", "administrator"):
            for (held, username), names in sites.items():
                if held == role:
                    self.stdout.write(f"  {username:<12} {role:<14} {', '.join(names)}")


def _is_demo() -> bool:
    """Only where the known password still opens a demo person's door."""
    if settings.PRODUCTION:
        return False
    person = Person.objects.filter(username=PROBE).first()
    return person is not None and person.check_password(PASSWORD)


def _due(site: Site) -> str:
    """One line: how the site's points stand today by its own calendar, and what waits for whom."""
    today = site.day_of(timezone.now())
    points = MeasuringPoint.objects.filter(site=site)
    states = ("no transmitter", "not calibrated", "in doubt", "overdue")
    counts = {state: points.in_state(state, on=today).count() for state in states}
    known = ", ".join(f"{count} {state}" for state, count in counts.items() if count)
    soon = points.in_state("soon", on=today).count()
    waiting = Calibration.objects.waiting().filter(site=site).count()
    in_hand = Job.objects.filter(site=site, state=Job.State.IN_HAND).count()
    return (
        f"{site.name}, {today}: {known or 'nothing overdue'}, {soon} due within 30 days, "
        f"{in_hand} in hand, {waiting} waiting for approval"
    )
