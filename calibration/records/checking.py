"""The readings of a form before they are sent: verdicts by the rule, uncertainty, hints; nothing is
stored.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.policies.models import Policy
from calibration.records.budgets import Certified, Test
from calibration.records.forms import CalibrationEntry
from calibration.records.judging import STAGES, judge_test, policy_of
from calibration.records.models import Calibration
from calibration.standards.models import StandardCertificate
from plant.level.hints import Hint, reading_hints
from plant.quantities import number, percent
from plant.transmitters.models import Transmitter


@dataclass(frozen=True)
class Checked:
    """One stage: its verdict, largest error and readings; and what the readings may point to."""

    stage: str
    verdict: str
    largest: str
    count: int
    hints: tuple[Hint, ...]


@dataclass(frozen=True)
class Check:
    stages: list[Checked]
    rule: str
    expanded: str
    tur: str
    is_low: bool
    least: str


def check(
    entry: CalibrationEntry, transmitter: Transmitter | None, amended: Calibration | None = None
) -> Check | None:
    """None where nothing was read, or a row cannot be computed with; the page then shows which."""
    valid = [rows.is_valid() for rows in entry.stages]
    entry.head.is_valid()
    if not all(valid) or not any(rows.read for rows in entry.stages) or transmitter is None:
        return None
    stages = dict(zip(STAGES, (rows.sent() for rows in entry.stages), strict=True))
    typed = entry.head.cleaned_data
    test = Test(
        entry.point,
        transmitter,
        typed.get("way") or entry.version.way,
        _certified(entry),
        typed.get("ambient_c"),
        typed.get("product_c"),
    )
    rule = (amended.budget or {}).get("rule") if amended else None
    policy = policy_of(rule) if rule else Policy.objects.of_point(entry.point)
    judged, facts = judge_test(stages, entry.against, test, policy)
    told = []
    for stage in STAGES[1:]:
        one = judged[stage]
        if not one.readings:
            continue
        seen = [r for r in one.readings if r.observed is not None]
        hints: tuple[Hint, ...] = ()
        if seen and entry.point.signal == "4-20mA":
            hints = reading_hints(
                [float(r.expected) for r in seen],
                [float(r.observed or 0) for r in seen],
                tolerance=entry.against.tolerance_percent,
                rising=[r.rising for r in seen],
                principle=transmitter.principle,
            )
        largest = (
            percent(one.figures.largest, entry.against.tolerance_percent) if one.figures else ""
        )
        told.append(Checked(stage, one.verdict, largest, len(one.readings), hints))
    tur = facts.get("tur")
    return Check(
        stages=told,
        rule=policy.rule_text,
        expanded=number(facts["expanded_percent"], 3) if "expanded_percent" in facts else "",
        tur=number(tur, 1) if tur is not None else "",
        is_low=tur is not None and tur < float(policy.least_tur),
        least=number(policy.least_tur, 0),
    )


def _certified(entry: CalibrationEntry) -> Certified:
    """The ticked standards with the certificates that cover the day; those without one are told by
    the form.
    """
    typed = entry.head.cleaned_data
    day, ticked = typed.get("done_on"), typed.get("standards") or []
    if day is None:
        return []
    rows = StandardCertificate.objects.covering(day).filter(
        standard__in=ticked, standard__site=entry.point.site_id
    )
    by_standard = {
        row.standard_id: row for row in rows.select_related("standard").order_by("valid_until")
    }
    return [(row.standard, row) for row in by_standard.values()]
