"""What a page shows of a record's uncertainty, decision rule, full figures and patterns of
readings.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from calibration.metrology.linearity import FullFigures, full_figures
from calibration.procedures.models import InputWay
from calibration.records.judging import policy_of
from calibration.records.models import Calibration, Reading
from plant.level.hints import Hint, reading_hints, stage_hints
from plant.level.signals import SIGNALS, percent_at
from plant.level.units import to_cubic_metres, to_metres
from plant.quantities import number, percent

NEAR = dt.timedelta(days=30)
FIGURE_WORDS = (
    ("Inaccuracy, lowest error", "lowest"),
    ("Inaccuracy, highest error", "highest"),
    ("Hysteresis", "hysteresis"),
    ("Non-linearity, terminal-based", "terminal_based"),
    ("Non-linearity, zero-based", "zero_based"),
    ("Non-linearity, independent", "independent"),
    ("Repeatability", "repeatability"),
)


class Part(NamedTuple):
    """One component of the budget. width: of its bar, 0 to 100."""

    name: str
    value: str
    shape: str
    divisor: str
    sensitivity: str
    u: str
    share: str
    width: float
    assumed: bool
    shared: bool


def doubt_of(record: Calibration) -> dict[str, Any] | None:
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
        "tur": number(record.tur, 1) if record.tur is not None else "",
        "is_low": tur_is_low(record),
        "least": number(least_tur(record), 1),
        "assumed": any(row["assumed"] for row in budget["components"]),
        "rule": rule_sentence(record),
        "guard": guard_of(record),
    }


BY = {
    "degrees of freedom": "Student's t for its degrees of freedom",
    "one rectangular component": "the one rectangular component that dominates",
    "two rectangular components": "the two rectangular components that dominate",
}


def _part(row: dict[str, Any], largest: float) -> Part:
    return Part(
        name=row["name"],
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


def least_tur(record: Calibration) -> float:
    """The ratio that the policy of its day asked for; 4 where none is kept."""
    rule = (record.budget or {}).get("rule")
    return float(policy_of(rule).least_tur) if rule else 4.0


def tur_is_low(record: Calibration) -> bool:
    return record.tur is not None and record.tur < least_tur(record)


def guard_of(record: Calibration) -> float:
    """Width of the guard band inside the tolerance, % of span, at the largest U; 0 where there is
    none.
    """
    rule = (record.budget or {}).get("rule")
    policy = policy_of(rule) if rule else None
    if policy is None or record.expanded_percent is None or policy.rule != policy.Rule.GUARD:
        return 0.0
    return float(policy.guard_share) * record.expanded_percent


def rule_sentence(record: Calibration) -> str:
    """The decision rule and what it means here."""
    rule = (record.budget or {}).get("rule")
    policy = policy_of(rule) if rule else None
    if policy is None or policy.rule == policy.Rule.SIMPLE:
        return (
            "Simple acceptance: an error within the tolerance passes; the uncertainty is shown "
            "and does not decide."
        )
    if policy.rule == policy.Rule.GUARD:
        return (
            f"Guard band of {policy.guard_share.normalize():f} U: passes only inside the "
            "tolerance by as much, fails "
            "only outside by as much; between them it is inconclusive."
        )
    return (
        f"Risk of a false accept at most {policy.risk_percent.normalize():f} %: passes where the "
        "true error lies "
        "outside with no more probability than that, fails where it lies inside with no more; "
        "else it is inconclusive."
    )


# ---- the figures of IEC 61298-2 ----
def figure_rows(record: Calibration, readings: Sequence[Reading]) -> list[tuple[str, str, str]]:
    """A row a figure: its name, as found and as left, in % of span; empty where the readings cannot
    tell.
    """
    columns = [
        _figures(record, [r for r in readings if r.stage == stage])
        for stage in ("as found", "as left")
    ]
    rows = [
        (words, *(_figure(of, name, record.tolerance_percent) for of in columns))
        for words, name in FIGURE_WORDS
    ]
    return [row for row in rows if row[1] or row[2]]  # type: ignore[misc]


def _figures(record: Calibration, readings: list[Reading]) -> FullFigures | None:
    good = [r for r in readings if "failure" not in r.band]
    if not good:
        return None
    return full_figures(
        np.array([_share(record, r) for r in good]),
        np.array([r.error_percent for r in good]),
        np.array([r.rising for r in good]),
        np.array([r.run for r in good]),
    )


def _figure(of: FullFigures | None, name: str, tolerance: float) -> str:
    if of is None:
        return ""
    value = next(
        (getattr(part, name) for part in (of.figures, of.linearity, of) if hasattr(part, name)),
        None,
    )
    if value is None or value != value:
        return ""
    text = percent(float(value), tolerance)
    return text if name in ("lowest", "highest") else text.lstrip("+")


def _share(record: Calibration, reading: Reading) -> float:
    ends = {"lower": float(record.lower), "upper": float(record.upper)}
    return float(percent_at(float(reading.applied), **ends))


# ---- an error in the units people think in ----
class Units(NamedTuple):
    """What one % of span is in the signal's unit and in mm or m³."""

    signal: float
    signal_unit: str
    base: float
    base_unit: str


def units_of(record: Calibration) -> Units:
    signal = SIGNALS[record.signal]
    is_level = record.quantity == "level"
    convert = to_metres if is_level else to_cubic_metres
    span = abs(
        float(convert(record.upper, record.unit)) - float(convert(record.lower, record.unit))
    )
    base = span * 1000 if is_level else span
    return Units(signal.span / 100, signal.unit, base / 100, "mm" if is_level else "m3")


def in_units(error_percent: float, units: Units) -> tuple[float, float]:
    return error_percent * units.signal, error_percent * units.base


# ---- patterns ----
def hints_of(
    record: Calibration, readings: Sequence[Reading]
) -> list[tuple[str, tuple[Hint, ...]]]:
    """For each stage the patterns that its readings show, with what to check; only for 4–20 mA."""
    told = []
    for stage in ("as found", "as left"):
        seen = [r for r in readings if r.stage == stage and r.observed is not None]
        if not seen or record.signal != "4-20mA":
            continue
        hints = reading_hints(
            [float(r.expected) for r in seen],
            [float(r.observed) for r in seen if r.observed is not None],
            tolerance=record.tolerance_percent,
            rising=[r.rising for r in seen],
            principle=record.transmitter.principle,
        )
        if hints:
            told.append((stage, hints))
    apart = _stage_hints(record)
    return [*told, ("simulated output and wetted level", apart)] if apart else told


def _stage_hints(record: Calibration) -> tuple[Hint, ...]:
    """Which stage is wrong, where a record of the other kind lies within a month of this one (one
    query).
    """
    if record.found_largest is None or not record.transmitter.principle.startswith("capacitance"):
        return ()
    simulated = InputWay.SIMULATED_OUTPUT
    near = Calibration.objects.standing().filter(
        point=record.point_id,
        transmitter=record.transmitter_id,
        done_on__gte=record.done_on - NEAR,
        done_on__lte=record.done_on + NEAR,
        found_largest__isnull=False,
    )
    is_output = record.way == simulated
    others = near.exclude(way=simulated) if is_output else near.filter(way=simulated)
    other = others.exclude(pk=record.pk).values_list("found_largest", flat=True).first()
    if other is None:
        return ()
    pair = (record.found_largest, other) if is_output else (other, record.found_largest)
    return stage_hints(*pair, tolerance=record.tolerance_percent)
