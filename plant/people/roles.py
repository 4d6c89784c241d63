"""Roles, and what each may do, in one table. Rights belong to a role at a site; nobody has rights
everywhere.
"""

from __future__ import annotations

from plant.choices import LowerCaseChoices


class Role(LowerCaseChoices):
    PLANNER = "planner"
    TECHNICIAN = "technician"
    APPROVER = "approver"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


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
