"""Who may do what, in one table. Rights belong to a role at a site; nobody has rights everywhere."""

from __future__ import annotations

from plant.models.person import Person, Role
from plant.refusals import NotAllowed

T, P, A, U, M = Role.TECHNICIAN, Role.PLANNER, Role.APPROVER, Role.AUDITOR, Role.ADMINISTRATOR

ACTS: dict[str, frozenset[str]] = {
    "see": frozenset({T, P, A, U}),
    "edit register": frozenset({P}),
    "import": frozenset({P}),
    "export": frozenset({P, A, U}),
    "plan": frozenset({P}),
    "set interval": frozenset({P, A}),
    "change policy": frozenset({A}),
    "calibrate": frozenset({T}),
    "amend": frozenset({T, P}),
    "defer": frozenset({T, P}),
    "answer step": frozenset({T, P, A}),
    "add standard": frozenset({T, P}),
    "approve": frozenset({A}),
    "settle work": frozenset({P, A}),
    "publish procedure": frozenset({A}),
    "close finding": frozenset({A, P}),
    "read ledger": frozenset({P, A, U}),
    "manage people": frozenset({M}),
}


def may(person: Person, act: str, site_id: int) -> bool:
    return person.is_active and bool(ACTS[act] & person.roles_at(site_id))


def require(person: Person, act: str, site_id: int) -> None:
    """Refuse with the roles that would be needed; operations call this before anything else."""
    if not may(person, act, site_id):
        roles = " or ".join(sorted(ACTS[act]))
        raise NotAllowed(
            f"Only a {roles} of this site may do this. Ask one of them, or an administrator."
        )
