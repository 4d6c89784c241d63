"""Where a person's day begins, by the first of their roles; what waits for them stands there."""

from __future__ import annotations

from plant.people.models import Person
from plant.people.roles import Role

HOME = "calibration:home"
FIRST_PAGES = {
    Role.PLANNER: "calibration:due",
    Role.TECHNICIAN: "calibration:jobs",
    Role.APPROVER: "calibration:records",
    Role.AUDITOR: "calibration:ledger",
}


def first_page(person: Person) -> str:
    """The name of its address; HOME itself for those who see no plant, such as administrators."""
    return next((page for role, page in FIRST_PAGES.items() if role in person.roles), HOME)
