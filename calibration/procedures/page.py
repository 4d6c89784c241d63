"""One version of a procedure, and what changed since the one it is compared with."""

from __future__ import annotations

from typing import Any

from django.http import Http404, QueryDict

from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.version_change import Change, compare


def version_shown(row: Procedure, query: QueryDict) -> dict[str, Any]:
    """The version asked for with its steps, and what changed since the one it is compared with."""
    versions = [v for v in row.versions.all() if v.published_on]
    shown = _asked(versions, query.get("version", ""))
    if shown is None:
        raise Http404("no such version")
    against, change = _changed(versions, shown, query.get("against", ""))
    steps = list(shown.steps.all())
    return {
        "versions": versions,
        "shown": shown,
        "steps": steps,
        "keys": {step.key for step in steps},
        "against": against,
        "change": change,
        "is_asked": "against" in query,
    }


def _asked(versions: list[ProcedureVersion], number: str) -> ProcedureVersion | None:
    return next((v for v in versions if not number or str(v.number) == number), None)


def _changed(
    versions: list[ProcedureVersion], shown: ProcedureVersion, number: str
) -> tuple[ProcedureVersion | None, Change | None]:
    """The version to compare with, and what changed since; None where there is none."""
    if number:
        against = _asked(versions, number)
        if against is None:
            raise Http404("no such version")
    else:
        against = next((v for v in versions if v.number < shown.number), None)
    if against is None or against == shown:
        return None, None
    return against, compare(against.content, shown.content)
