"""Patterns that the readings of a record show, with what to check."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from calibration.procedures.models import InputWay
from calibration.records.models import Calibration, Reading
from plant.level.hints import Hint, reading_hints, stage_hints

NEAR = dt.timedelta(days=30)


def hints_of(
    record: Calibration, readings: Sequence[Reading]
) -> list[tuple[str, tuple[Hint, ...]]]:
    """For each stage the patterns that its readings show, with what to check; only for 4–20 mA."""
    stages = ("as found", "as left") if record.signal == "4-20mA" else ()
    by_stage = [
        *((stage, _reading_hints(record, stage, readings)) for stage in stages),
        ("simulated output and wetted level", _stage_hints(record)),
    ]
    return [(stage, hints) for stage, hints in by_stage if hints]


def _reading_hints(
    record: Calibration, stage: str, readings: Sequence[Reading]
) -> tuple[Hint, ...]:
    pairs = [
        (r.expected, r.observed, r.rising)
        for r in readings
        if r.stage == stage and r.expected is not None and r.observed is not None
    ]
    if not pairs:
        return ()
    return reading_hints(
        [float(expected) for expected, _, _ in pairs],
        [float(observed) for _, observed, _ in pairs],
        tolerance=record.tolerance_percent,
        rising=[rising for _, _, rising in pairs],
        principle=record.transmitter.principle,
    )


def _stage_hints(record: Calibration) -> tuple[Hint, ...]:
    """Which stage is wrong, where a record of the other kind was made within a month of this one
    (one query).
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
