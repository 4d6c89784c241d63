"""What the figures of a proposal would allow, and what kept it shorter: two cells of a table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from plant.quantities import SPACE, number, share_text

Part = Mapping[str, Any]


class Limit(NamedTuple):
    """allowed: months by the figures alone, "" where they do not say; by: what decided."""

    allowed: str
    by: str


def limit_of(parts: Iterable[Part], *, months: int) -> Limit:
    """Out of the stored reasons of a proposal of so many ``months``."""
    every = {str(part.get("says")): part for part in parts}
    for says, read in LIMITS.items():
        if says in every:
            return read(every[says], months)
    return Limit("", "")


def _target(part: Part, months: int) -> Limit:
    return Limit(str(months), f"target {_target_text(part)}")


def _one_change(part: Part, months: int) -> Limit:
    return Limit(_months(part, "wanted"), "the most for one change")


def _longest(part: Part, months: int) -> Limit:
    return Limit(f"over {months}", "longest interval allowed")


def _shortest(part: Part, months: int) -> Limit:
    return Limit(f"under {months}", "shortest interval allowed")


def _stair(result: str, part: Part, months: int) -> Limit:
    share = f"{number(float(part.get('percent', 0)), 0)}{SPACE}%"
    return Limit(str(months), f"one stair of {share}: last as found {result}")


def _reliability(part: Part, months: int) -> Limit:
    allowed = float(part.get("months") or math.nan)
    if not math.isfinite(allowed):
        return Limit("", f"target {_target_text(part)} of the family")
    if allowed >= months + 1:
        return Limit(number(math.floor(allowed), 0), "a limit of the policy")
    return Limit(number(math.floor(allowed), 0), f"target {_target_text(part)} of the family")


def _target_text(part: Part) -> str:
    return share_text(float(part.get("target", math.nan)))


def _months(part: Part, name: str) -> str:
    years = float(part.get(name, math.nan))
    return number(math.floor(12 * years + 1e-6), 0) if math.isfinite(years) else ""


LIMITS = {
    "target": _target,
    "lengthening limited": _one_change,
    "upper bound": _longest,
    "target not reached at lower bound": _shortest,
    "staircase in": lambda part, months: _stair("in", part, months),
    "staircase out": lambda part, months: _stair("out", part, months),
    "reliability": _reliability,
}
