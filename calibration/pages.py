"""What the pages of calibration share."""

from __future__ import annotations

from typing import Any

from django.http import QueryDict

from plant.people.models import Person
from plant.refusals import NotAllowed


def require_sight(person: Person) -> None:
    """Refuse the lists to those who see no site at all, instead of showing them an empty one."""
    if not person.site_ids("see"):
        raise NotAllowed(
            "You hold no role that sees records at any site. Ask an administrator to appoint you."
        )


class Address:
    """Addresses of this list with something changed; a change begins at the first page again."""

    def __init__(self, query: QueryDict) -> None:
        self._kept = query.copy()
        for name in ("after", "before", "tick"):
            self._kept.pop(name, None)

    def with_(self, without: str = "", **changed: Any) -> str:
        query = self._kept.copy()
        query.pop(without, None)
        for name, value in changed.items():
            if value is not None:
                query[name] = str(value)
        return f"?{query.urlencode()}"
