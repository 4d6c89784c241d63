"""Whether a person may do an act at a site; refuses who may not. The table is in roles.py."""

from __future__ import annotations

from plant.people.models import Person
from plant.people.refusals import RoleMissing
from plant.people.roles import ACTS


def may(person: Person, act: str, site_id: int) -> bool:
    return person.is_active and bool(ACTS[act] & person.roles_at(site_id))


def require(person: Person, act: str, site_id: int) -> None:
    """Refuse with the roles that would be needed; acts call this before anything else."""
    if not may(person, act, site_id):
        raise RoleMissing(act)
