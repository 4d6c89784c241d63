"""The readings of a form before it is submitted: verdicts by the rule, uncertainty, hints; nothing
is stored.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.policies.models import Policy
from calibration.records.calibration_form import CalibrationForm
from calibration.records.failures import Stood, stood_failed
from calibration.records.judging import (
    STAGES,
    StageResult,
    judge_stages,
    policy_of,
    with_what_it_stood_at,
)
from calibration.records.models import Calibration
from calibration.records.refusals import StandardNotCounted
from calibration.records.setup import Certified, Setup
from calibration.records.standard_uses import best_of
from calibration.standards.models import StandardCertificate
from plant.level.hints import Hint, reading_hints
from plant.quantities import number, percent
from plant.transmitters.models import Transmitter


@dataclass(frozen=True)
class StageCheck:
    """One stage: its verdict, largest error and readings; and what the readings may point to."""

    stage: str
    verdict: str
    largest: str
    count: int
    hints: tuple[Hint, ...]


@dataclass(frozen=True)
class EntryCheck:
    stages: list[StageCheck]
    stood: Stood | None
    rule: str
    expanded: str
    tur: str
    is_low: bool
    least: str


def check(
    form: CalibrationForm, transmitter: Transmitter | None, amended: Calibration | None = None
) -> EntryCheck | None:
    """None where nothing was read, a row cannot be computed with, or a standard is of no use; the
    page then shows which.
    """
    valid = [rows.is_valid() for rows in form.stages]
    form.head.is_valid()
    if not all(valid) or not any(rows.read for rows in form.stages) or transmitter is None:
        return None
    policy = _policy(form, amended)
    stages = dict(zip(STAGES, (rows.entry() for rows in form.stages), strict=True))
    try:
        results, columns = judge_stages(
            stages, form.against, _setup(form, transmitter), policy, form.stands.without_level()
        )
    except StandardNotCounted as refusal:
        form.refuse(refusal)
        return None
    results = with_what_it_stood_at(results)
    return EntryCheck(
        stages=[
            _stage_check(stage, results[stage], form, transmitter)
            for stage in STAGES[1:]
            if results[stage].readings
        ],
        stood=_stood(results, form),
        **_uncertainty(columns, policy),
    )


def _stood(results: Mapping[str, StageResult], form: CalibrationForm) -> Stood | None:
    readings = [reading for stage in STAGES for reading in results[stage].readings]
    why = form.head.cleaned_data.get("no_as_found_reason", "")
    return stood_failed(
        readings,
        signal=form.point.signal,
        tolerance_percent=form.against.tolerance_percent,
        no_as_found_reason=why,
    )


def _policy(form: CalibrationForm, amended: Calibration | None) -> Policy:
    rule = (amended.budget or {}).get("rule") if amended else None
    return policy_of(rule) if rule else Policy.objects.of_point(form.point)


def _setup(form: CalibrationForm, transmitter: Transmitter) -> Setup:
    typed = form.head.cleaned_data
    return Setup(
        form.point,
        transmitter,
        typed.get("way") or form.version.way,
        _certified(form),
        typed.get("ambient_c"),
        typed.get("product_c"),
        form.version,
    )


def _certified(form: CalibrationForm) -> Certified:
    """The ticked standards with the certificates that cover the day; the form shows which have
    none.
    """
    typed = form.head.cleaned_data
    day, ticked = typed.get("done_on"), typed.get("standards") or []
    way = typed.get("way") or form.version.way
    if day is None:
        return []
    rows = StandardCertificate.objects.covering(day).filter(
        standard__in=ticked, standard__site=form.point.site_id
    )
    by_standard: dict[int, list[StandardCertificate]] = defaultdict(list)
    for row in rows.select_related("standard").order_by("-valid_until"):
        by_standard[row.standard_id].append(row)
    chosen = (
        best_of(some[0].standard, some, form.point, way, form.version)
        for some in by_standard.values()
    )
    return [(row.standard, row) for row in chosen]


def _stage_check(
    stage: str, result: StageResult, form: CalibrationForm, transmitter: Transmitter
) -> StageCheck:
    tolerance = form.against.tolerance_percent
    largest = percent(result.figures.largest, tolerance) if result.figures else ""
    hints = _hints(result, form, transmitter)
    return StageCheck(stage, result.verdict, largest, len(result.readings), hints)


def _hints(
    result: StageResult, form: CalibrationForm, transmitter: Transmitter
) -> tuple[Hint, ...]:
    seen = [
        (float(r.expected), float(r.observed), r.rising)
        for r in result.readings
        if r.expected is not None and r.observed is not None
    ]
    if not seen or form.point.signal != "4-20mA":
        return ()
    return reading_hints(
        [expected for expected, _, _ in seen],
        [observed for _, observed, _ in seen],
        tolerance=form.against.tolerance_percent,
        rising=[rising for _, _, rising in seen],
        principle=transmitter.principle,
    )


def _uncertainty(columns: Mapping[str, Any], policy: Policy) -> dict[str, Any]:
    expanded, tur = columns.get("expanded_percent"), columns.get("tur")
    return {
        "rule": policy.rule_text,
        "expanded": "" if expanded is None else number(expanded, 3),
        "tur": "" if tur is None else number(tur, 1),
        "is_low": tur is not None and tur < float(policy.least_tur),
        "least": number(policy.least_tur, 0),
    }
