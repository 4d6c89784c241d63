"""What the pages of calibration share."""

from __future__ import annotations

from plant.people.models import Person
from plant.refusals import NotAllowed


# ---- what other pages show of a job, too ----
def require_sight(person: Person) -> None:
    """Refuse the lists to those who see no site at all, instead of showing them an empty one."""
    if not person.site_ids("see"):
        raise NotAllowed(
            "You hold no role that sees records at any site. Ask an administrator to appoint you."
        )
