"""What the frame of every page shows: the pages this person uses, who they are and where.

No queries of its own: roles are read once a request by the person, and only when a frame is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

PLANNER, TECHNICIAN, APPROVER, AUDITOR = "planner", "technician", "approver", "auditor"
ADMINISTRATOR = "administrator"
REGISTER_PAGES = (
    "plant:tanks",
    "plant:transmitters",
    "calibration:families",
    "plant:products",
    "plant:sites",
)
RECORD_ROLES = frozenset({PLANNER, TECHNICIAN, APPROVER, AUDITOR})
# label, url name, other pages that belong under it, roles that see it
NAVIGATION: tuple[tuple[str, str, tuple[str, ...], frozenset[str]], ...] = (
    ("Due", "calibration:due", (), RECORD_ROLES - {TECHNICIAN}),
    ("Jobs", "calibration:jobs", ("calibration:set_asides",), frozenset({PLANNER, TECHNICIAN})),
    ("Rounds", "calibration:rounds", (), frozenset({PLANNER})),
    (
        "Proposals",
        "calibration:proposals",
        ("calibration:policies",),
        frozenset({PLANNER, APPROVER}),
    ),
    ("In the plant", "calibration:field", (), frozenset({TECHNICIAN})),
    ("Register", "plant:points", REGISTER_PAGES, RECORD_ROLES),
    ("Imports", "calibration:imports", (), frozenset({PLANNER})),
    ("Standards", "calibration:standards", (), RECORD_ROLES),
    ("Procedures", "calibration:procedures", (), frozenset({TECHNICIAN, APPROVER})),
    ("Records", "calibration:records", (), RECORD_ROLES),
    ("Findings", "calibration:findings", (), frozenset({PLANNER, APPROVER, AUDITOR})),
    ("Ledger", "calibration:ledger", (), RECORD_ROLES - {TECHNICIAN}),
    ("Home", "calibration:home", (), frozenset({ADMINISTRATOR})),
    ("People", "plant:people", ("plant:sites",), frozenset({ADMINISTRATOR})),
)


@dataclass(frozen=True)
class NavItem:
    label: str
    url: str
    current: bool


class Frame:
    """Drawn lazily: a fragment or a file download never asks for it and pays nothing."""

    def __init__(self, request: HttpRequest) -> None:
        self._request = request

    @cached_property
    def nav(self) -> list[NavItem]:
        """Links by role; current is the one whose address begins this page's furthest."""
        user = getattr(self._request, "user", None)
        roles: set[str] = getattr(user, "roles", set())
        rows = [
            (label, name, others) for label, name, others, seen_by in NAVIGATION if roles & seen_by
        ]
        urls = {label: [_url(name), *map(_url, others)] for label, name, others in rows}
        here = _longest_beginning(self._request.path, urls)
        items = (NavItem(label, found[0], label == here) for label, found in urls.items())
        return [item for item in items if item.url]

    @cached_property
    def person(self) -> str:
        user = getattr(self._request, "user", None)
        return str(user) if user is not None and user.is_authenticated else ""

    @cached_property
    def where(self) -> str:
        """Roles and sites in words: "planner, Kestrel Quay"."""
        user = getattr(self._request, "user", None)
        roles = " and ".join(sorted(getattr(user, "roles", ())))
        sites = list(getattr(user, "site_names", ()))
        places = ", ".join(sites) if len(sites) < 3 else f"{len(sites)} sites"
        return ", ".join(filter(None, (roles, places)))

    @cached_property
    def sign_out_url(self) -> str:
        return _url("sign-out")

    @cached_property
    def account_url(self) -> str:
        return _url("password_change")


def frame(request: HttpRequest) -> dict[str, Any]:
    return {"frame": Frame(request)}


def _url(name: str) -> str:
    """The address, or "" where this installation has no such page."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


def _longest_beginning(path: str, urls: dict[str, list[str]]) -> str:
    best, label_of_best = 0, ""
    for label, found in urls.items():
        for url in found:
            # The front page begins every path, so it counts only for itself.
            matches = path == url or (len(url) > 1 and path.startswith(url))
            if matches and len(url) > best:
                best, label_of_best = len(url), label
    return label_of_best
