"""The uncertainty of a record's errors, from what the register knows: standards, the way of
applying, the conditions.

Everything is brought to % of span. What the certificates leave out is taken from the defaults of
calibration.metrology.components and marked as assumed, so that a reader sees which figures nobody
has measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from calibration.metrology import components as known
from calibration.metrology.uncertainty import combine, coverage
from calibration.records.computed_readings import with_computed
from calibration.records.entry import ReadingEntry
from calibration.records.input_parts import input_parts
from calibration.records.output_parts import output_parts
from calibration.records.setup import Setup
from calibration.records.standard_uses import check_use, is_check_tool
from calibration.records.uncertainty import PROBABILITY, Parts, Uncertainty
from plant.level.signals import percent_at


def uncertainty_of(setup: Setup, readings: Sequence[ReadingEntry]) -> Uncertainty | None:
    """The uncertainty of each reading's error; None without readings."""
    if not readings:
        return None
    applied = np.array([float(r.applied) for r in readings])
    percent = np.asarray(percent_at(applied, **setup.ends), dtype=float)
    for standard, certificate in setup.certified:
        check_use(standard, certificate, setup.point, setup.way, setup.version)
    parts = output_parts(setup, readings) + _of_input(setup, readings, applied)
    parts = with_computed(parts + _repeats(setup, readings, percent), readings)
    budget = combine(parts.components)
    covered = coverage(budget, probability=PROBABILITY)

    def each(values: Any) -> np.ndarray:
        return np.broadcast_to(np.asarray(values), applied.shape)

    return Uncertainty(
        u=each(budget.u),
        expanded=each(covered.expanded),
        k=each(covered.k),
        dof=each(budget.dof),
        percent=percent,
        by=each(covered.by),
        parts=np.array([each(part) for part in budget.contributions]),
        shares=np.array([each(share) for share in budget.shares]),
        values=np.array([each(c.value) for c in parts.components]),
        sensitivities=np.array([each(c.sensitivity) for c in parts.components]),
        shift=sum((each(one.shift) for one in parts.corrections), np.zeros(applied.shape)),
        components=parts.components,
        assumed=parts.assumed,
        lasting=parts.lasting,
        stems=parts.stems,
        corrections=parts.corrections,
        beside=_beside(setup, parts),
        check_tools=_check_tools(setup),
    )


def _of_input(setup: Setup, readings: Sequence[ReadingEntry], applied: np.ndarray) -> Parts:
    """With its corrections turned into those of the errors: where the input is less than it was
    taken for, the error is larger.
    """
    parts = input_parts(setup, applied)
    reverse = setup.point.lower > setup.point.upper
    turn = np.array([1.0 if reverse and r.indication is None else -1.0 for r in readings])
    return replace(parts, corrections=tuple(one.scaled(turn) for one in parts.corrections))


def _beside(setup: Setup, parts: Parts) -> tuple[str, ...]:
    """The standards of which no part came: meters where an indication decided."""
    known = {*parts.stems.values(), *_check_tools(setup)}
    return tuple(s.name for s, _ in setup.certified if s.name not in known)


def _check_tools(setup: Setup) -> tuple[str, ...]:
    """The standards that a step asks for, and on which no error rests: a bond tester."""
    return tuple(
        standard.name
        for standard, certificate in setup.certified
        if is_check_tool(standard, certificate, setup.way, setup.version)
    )


def _repeats(setup: Setup, readings: Sequence[ReadingEntry], percent: np.ndarray) -> Parts:
    """Scatter of readings of one point from the same side, pooled over the points that were
    repeated.
    """
    groups = [np.array(group) for group in _repeated(readings, percent)]
    dof = sum(len(group) - 1 for group in groups)
    squares = sum(float(np.var(group, ddof=1)) * (len(group) - 1) for group in groups)
    if not squares:
        return Parts(())
    is_output = all(r.indication is None for r in readings)
    whole = setup.signal.span if is_output else abs(float(setup.point.upper - setup.point.lower))
    scatter = 100 * math.sqrt(squares / dof) / whole
    return Parts((known.known_repeatability("repeated readings", scatter, repeats=1, dof=dof),))


def _repeated(readings: Sequence[ReadingEntry], percent: np.ndarray) -> list[list[float]]:
    """What was read of each point that was repeated from the same side in the same stage."""
    groups: dict[tuple[str, float, bool], list[float]] = {}
    for reading, at in zip(readings, percent.tolist(), strict=True):
        value = reading.observed if reading.indication is None else reading.indication
        if value is not None:
            place = (reading.stage, round(at, 6), reading.rising)
            groups.setdefault(place, []).append(float(value))
    return [group for group in groups.values() if len(group) > 1]
