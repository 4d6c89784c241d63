"""What computed readings rest on: those of two known levels, and an as left at a level the tank no
longer stands at.

The tablet computes them (deploy/static/field/twolevels.js); the site works out what uncertainty
they carry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from calibration.metrology.two_levels import BEND_PERCENT, propagate, two_levels
from calibration.metrology.uncertainty import Component, Shape
from calibration.records.entry import ReadingEntry
from calibration.records.models import Calibration, Reading
from calibration.records.uncertainty import Parts
from plant.level.signals import SIGNALS

BEND = "bend between and beyond the levels"
COMPUTED = Reading.Origin.COMPUTED


class ThirdLevel(NamedTuple):
    """deviation: of the third reading from the line, % of span. limit: U of that; 0 where none is
    known.
    """

    deviation: float
    limit: float


# A level of the line, and the weights of all readings that make the output there.
Basis = tuple[tuple[float, np.ndarray], tuple[float, np.ndarray]]


def with_computed(parts: Parts, readings: Sequence[ReadingEntry]) -> Parts:
    """The same components where nothing was computed; else with what each computed reading carries
    of others.
    """
    if all(r.origin != COMPUTED for r in readings):
        return parts
    weights, beyond = weights_of(readings)
    bend = Component(BEND, np.where(beyond, BEND_PERCENT, 0.0), Shape.RECTANGULAR)
    return replace(
        parts,
        components=(*propagate(parts.components, weights), bend),
        assumed=parts.assumed | {BEND},
        corrections=tuple(
            replace(one, shift=weights @ np.broadcast_to(one.shift, len(readings)))
            for one in parts.corrections
        ),
    )


def weights_of(readings: Sequence[ReadingEntry]) -> tuple[np.ndarray, np.ndarray]:
    """Each reading as a sum of those that were read (N by N), and which lie between or beyond the
    two levels (N).

    A reading that was read, or of which nobody knows what it was computed from, is itself.
    """
    weights, beyond = np.eye(len(readings)), np.zeros(len(readings), dtype=bool)
    found = _line("as found", readings)
    lines = {"as found": found, "as left": _line("as left", readings) or _moved(found, readings)}
    for place, reading in enumerate(readings):
        line = lines.get(reading.stage)
        if reading.origin != COMPUTED or line is None:
            continue
        at, (first, second) = float(reading.applied), line
        share = (second[0] - at) / (second[0] - first[0])
        weights[place] = share * first[1] + (1 - share) * second[1]
        beyond[place] = min(abs(share), abs(1 - share)) > 1e-6
    return weights, beyond


def third_level(record: Calibration, readings: Sequence[Reading]) -> ThirdLevel | None:
    """The reading as it stands as the check of the line through the two levels as found.

    None where nothing was computed from two levels, or as it stands is too near one of them to
    show anything.
    """
    if all(r.origin != COMPUTED for r in readings):
        return None
    pairs = _levels_read(readings)
    stands = next((r for r in readings if r.stage == "as it stands"), None)
    if stands is None or stands.applied is None or stands.observed is None:
        return None
    if not pairs or pairs[0][0] == pairs[-1][0]:
        return None
    levels, outputs = zip(pairs[0], pairs[-1], strict=True)
    ends = {"lower": float(record.lower), "upper": float(record.upper)}
    line = two_levels(levels, outputs, **ends, signal=SIGNALS[record.signal])
    at = float(stands.applied)
    if not line.is_check_level(at):
        return None
    limit = _largest_expanded(readings) * float(np.hypot(1, line.gain_at(at)))
    return ThirdLevel(float(line.deviation_at(at, float(stands.observed))), limit)


def _levels_read(readings: Sequence[Reading]) -> list[tuple[float, float]]:
    """Applied value and output of what was read as found, from the lowest level to the highest."""
    return sorted(
        (float(r.applied), float(r.observed))
        for r in readings
        if r.stage == "as found" and r.origin != COMPUTED
        if r.applied is not None and r.observed is not None
    )


def _largest_expanded(readings: Sequence[Reading]) -> float:
    return max(
        r.expanded_percent or 0.0 for r in readings if r.stage != "as left" and r.origin != COMPUTED
    )


def _read(stage: str, readings: Sequence[ReadingEntry]) -> list[int]:
    """Places of what was read at a stage, from the lowest level to the highest."""
    places = [n for n, r in enumerate(readings) if r.stage == stage and r.origin != COMPUTED]
    return sorted(places, key=lambda n: readings[n].applied)


def _line(stage: str, readings: Sequence[ReadingEntry]) -> Basis | None:
    """Through the lowest and the highest level that were read; None where there are no two."""
    places = _read(stage, readings)
    if not places or readings[places[0]].applied == readings[places[-1]].applied:
        return None
    one = np.eye(len(readings))
    low, high = places[0], places[-1]
    return (float(readings[low].applied), one[low]), (float(readings[high].applied), one[high])


def _moved(found: Basis | None, readings: Sequence[ReadingEntry]) -> Basis | None:
    """After adjusting at one level: the other one moved with it, by the line as found."""
    left = _read("as left", readings)
    if found is None or not left:
        return None
    at, now = float(readings[left[0]].applied), np.eye(len(readings))[left[0]]
    near, far = sorted(found, key=lambda end: abs(end[0] - at))
    return (far[0], far[1] - near[1] + now), (at, now)
