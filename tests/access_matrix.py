"""Every address × method × role: what it answers. Written by hand, not made from the permission table it checks.

A row: url name, method, how to fill its arguments (see ``tests/test_access.py``), and the expected status for each
of planner, technician, approver, auditor, administrator, and for an outsider who holds every role at another site.
An address missing here fails the suite. 302: sends on to another page; 404: as if it did not exist.
"""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    name: str
    method: str
    thing: str  # which row of the plant fills pk: point, tank, product, … ; "" for none
    planner: int
    technician: int
    approver: int
    auditor: int
    administrator: int
    outsider: int


ROWS: list[Row] = []

# Addresses whose last part is a word, not a number.
KINDS: dict[str, dict[str, str]] = {
    "procedure": {"key": "cap-tank"},
    "template": {"kind": "register", "fmt": "csv"},
}

# Served without signing in (the health page, the sign-in itself) or to whoever is signed in.
OPEN_TO_ALL = {"health", "sign-in", "sign-out", "password_change", "password_change_done"}
