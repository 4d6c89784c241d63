"""A record's uncertainty budget and decision rule as a page shows them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from calibration.policies.models import Policy
from calibration.records.judging import policy_of
from calibration.records.models import Calibration
from calibration.standards.models import deviation_text
from plant.level.tolerance import BOTH
from plant.quantities import number


class Part(NamedTuple):
    """One component of the budget. standard: by whose certificate; width: of its bar, 0 to 100."""

    name: str
    standard: str
    value: str
    shape: str
    divisor: str
    sensitivity: str
    u: str
    share: str
    width: float
    assumed: bool
    shared: bool


def budget_of(record: Calibration) -> dict[str, Any] | None:
    """The budget in rows and sentences; None for a record without one."""
    budget = record.budget
    if not budget:
        return None
    largest = max((row["share"] for row in budget["components"]), default=0) or 1
    return {
        "parts": [_part(row, largest) for row in budget["components"]],
        "u": number(budget["u"], 4),
        "expanded": number(budget["U"], 3),
        "k": number(budget["k"], 2),
        "dof": "infinite" if budget["dof"] is None else number(budget["dof"], 0),
        "at": number(budget["at_percent"], 0),
        "probability": number(100 * budget["probability"], 0),
        "by": BY.get(budget["by"], budget["by"]),
        "assumed": any(row["assumed"] for row in budget["components"]),
        "rule": RULES[_policy(record).rule](_policy(record)),
        "guard": guard_of(record),
        "corrections": [_correction(row) for row in budget.get("corrections", ())],
        "beside": ", ".join(budget.get("beside", ())),
        "check_tools": ", ".join(budget.get("check_tools", ())),
        **_ratio(record),
    }


def _correction(row: dict[str, Any]) -> str:
    """Such as "R-250, −2.5 Ω: up to 1.24 % of span"."""
    shown = deviation_text(row["deviation"], row["unit"])
    return f"{row['standard']}, {shown}: up to {number(row['most'], 3)} % of span"


def _ratio(record: Calibration) -> dict[str, Any]:
    return {
        "tur": number(record.tur, 1) if record.tur is not None else "",
        "is_one_sided": record.tolerance_sides != BOTH,
        "is_low": tur_is_low(record),
        "least": number(least_tur(record), 1),
    }


BY = {
    "degrees of freedom": "Student's t for its degrees of freedom",
    "one rectangular component": "the one rectangular component that dominates",
    "two rectangular components": "the two rectangular components that dominate",
    "rectangular components and the rest": "the sum of the rectangular components and the rest",
}


def _part(row: dict[str, Any], largest: float) -> Part:
    return Part(
        name=row["name"],
        standard=row.get("standard", ""),
        value=f"{row['value']:.3g}",
        shape=row["shape"],
        divisor=number(row["divisor"], 2),
        sensitivity=f"{row['sensitivity']:.3g}",
        u=number(row["u"], 4),
        share=f"{100 * row['share']:.0f}",
        width=round(100 * row["share"] / largest, 1),
        assumed=row["assumed"],
        shared=row["shared"],
    )


def _policy(record: Calibration) -> Policy:
    """The decision rule of the record's day; simple acceptance and a ratio of 4 where none is
    kept.
    """
    rule = (record.budget or {}).get("rule")
    return policy_of(rule) if rule else Policy()


def least_tur(record: Calibration) -> float:
    """The ratio that the policy of its day asked for."""
    return float(_policy(record).least_tur)


def tur_is_low(record: Calibration) -> bool:
    return record.tur is not None and record.tur < least_tur(record)


def guard_of(record: Calibration) -> float:
    """Width of the guard band inside the tolerance, % of span, at the largest U; 0 where there is
    none.
    """
    policy = _policy(record)
    if record.expanded_percent is None or policy.rule != Policy.Rule.GUARD:
        return 0.0
    return float(policy.guard_share) * record.expanded_percent


# The decision rule and what it means for a record.
RULES: dict[str, Callable[[Policy], str]] = {
    Policy.Rule.SIMPLE: lambda _: (
        "Simple acceptance: an error within the tolerance passes; the uncertainty is shown and "
        "does not decide."
    ),
    Policy.Rule.GUARD: lambda policy: (
        f"Guard band of {policy.guard_share.normalize():f} U: passes only inside the tolerance by "
        "as much, fails only outside by as much; between them it is inconclusive."
    ),
    Policy.Rule.RISK: lambda policy: (
        f"Risk of a false accept at most {policy.risk_percent.normalize():f} %: passes where the "
        "true error lies outside with no more probability than that, fails where it lies inside "
        "with no more; else it is inconclusive."
    ),
}
