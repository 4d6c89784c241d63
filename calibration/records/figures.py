"""What a page shows of a record's figures, in the terms of IEC 61298-2, and in the units people
think in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from calibration.metrology.errors import DeadBand, dead_band
from calibration.metrology.linearity import FullFigures, full_figures
from calibration.records.models import Calibration, Reading
from calibration.records.output_parts import COARSE
from plant.level.signals import SIGNALS, percent_at
from plant.level.units import to_cubic_metres, to_metres
from plant.quantities import number, percent_decimals

FIGURES = (
    ("Inaccuracy, lowest error", "lowest"),
    ("Inaccuracy, highest error", "highest"),
    ("Hysteresis", "hysteresis"),
    ("Non-linearity, terminal-based", "terminal_based"),
    ("Non-linearity, zero-based", "zero_based"),
    ("Non-linearity, independent", "independent"),
    ("Repeatability", "repeatability"),
)
# % of span: a dead band shows only where the input turns in steps no larger than this (no source).
SMALL_STEP = 2.0


def figure_rows(record: Calibration, readings: Sequence[Reading]) -> list[tuple[str, str, str]]:
    """A row a figure: its name, as found and as left, in % of span or in mm where the tolerance is;
    empty where the readings cannot tell. The dead band is of the input, always in % of span.
    """
    found, left = ([r for r in readings if r.stage == s] for s in ("as found", "as left"))
    of_found, of_left = _figures(record, found), _figures(record, left)
    shown = figures_unit_of(record)
    rows = [
        (words, _figure(of_found, name, shown), _figure(of_left, name, shown))
        for words, name in FIGURES
    ]
    words = "Dead band" if shown.unit == "%" else "Dead band, % of span"
    rows.append((words, _dead_band(record, found), _dead_band(record, left)))
    return [row for row in rows if row[1] or row[2]]


def _figures(record: Calibration, readings: list[Reading]) -> FullFigures | None:
    good = [r for r in readings if "failure" not in r.band]
    if not good:
        return None
    return full_figures(
        np.array([share_of_span(record, r) for r in good]),
        np.array([r.error_percent for r in good]),
        np.array([r.rising for r in good]),
        np.array([r.run for r in good]),
    )


def _figure(of: FullFigures | None, name: str, shown: ShownUnit) -> str:
    if of is None:
        return ""
    value = next(
        (getattr(part, name) for part in (of.figures, of.linearity, of) if hasattr(part, name)),
        None,
    )
    if value is None or value != value:
        return ""
    text = number(float(value) * shown.by, shown.decimals, signed=True)
    return text if name in ("lowest", "highest") else text.lstrip("+")


def share_of_span(record: Calibration, reading: Reading) -> float:
    """Applied value in % of span; only of a reading whose level is known."""
    if reading.applied is None:
        raise ValueError(f"{reading}: no level, so no share of the span")
    ends = {"lower": float(record.lower), "upper": float(record.upper)}
    return float(percent_at(float(reading.applied), **ends))


# ---- dead band ----
def _dead_band(record: Calibration, readings: Sequence[Reading]) -> str:
    """The widest dead band of a stage in words; "" where the input never turned in small steps."""
    bands = [_band_of(record, part) for part in _small_steps(record, readings)]
    known = [band for band in bands if band is not None]
    if not known:
        return ""
    widest = max(known, key=lambda band: (band.at_most is None, band.at_least))
    count = sum(band.n for band in known)
    reversals = f"({count} reversal{'' if count == 1 else 's'})"
    if widest.at_most is None:
        return f"more than {number(widest.at_least, 2)}, the output did not move {reversals}"
    return f"{number(widest.at_least, 2)} to {number(widest.at_most, 2)} {reversals}"


def _small_steps(record: Calibration, readings: Sequence[Reading]) -> list[list[Reading]]:
    """The stretches of each run, in order of time, through which the input went in small steps."""
    read = [r for r in readings if r.observed is not None and r.origin == Reading.Origin.READ]
    parts: list[list[Reading]] = [[]]
    for before, reading in pairwise([None, *sorted(read, key=lambda r: (r.run, r.sequence))]):
        if before and reading and not _is_small_step(record, before, reading):
            parts.append([])
        if reading:
            parts[-1].append(reading)
    return parts


def _is_small_step(record: Calibration, before: Reading, reading: Reading) -> bool:
    step = abs(share_of_span(record, reading) - share_of_span(record, before))
    return before.run == reading.run and step <= SMALL_STEP


def _band_of(record: Calibration, readings: Sequence[Reading]) -> DeadBand | None:
    """Three last digits of the meter count as a movement, at least 0.01 % of span."""
    if not readings:
        return None
    signal = SIGNALS[record.signal]
    observed = [r.observed for r in readings if r.observed is not None]
    typed = [10.0 ** int(value.normalize().as_tuple().exponent) for value in observed]
    digit = min([*typed, COARSE * signal.span / 16])
    output = percent_at(np.array(observed, dtype=float), lower=signal.low, upper=signal.high)
    applied = [share_of_span(record, r) for r in readings]
    return dead_band(applied, output, moved=max(300 * digit / signal.span, 0.01))


# ---- an error in the units people think in ----
# An error in mm or m³ is shown to at most this share of its tolerance (no source).
RESOLVED = 20


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


class ShownUnit(NamedTuple):
    """In what figures are shown: so much for one % of span, with so many decimals."""

    unit: str
    by: float
    decimals: int


def base_unit_of(record: Calibration) -> ShownUnit:
    """mm or m³; fine enough to tell a twentieth of the tolerance."""
    units = units_of(record)
    step = record.tolerance_percent * units.base / RESOLVED
    return ShownUnit(units.base_unit, units.base, max(1, math.ceil(-math.log10(step) - 1e-9)))


def figures_unit_of(record: Calibration) -> ShownUnit:
    """mm where the tolerance is in mm, as for custody transfer; else % of span."""
    if record.tolerance_unit == "mm":
        return base_unit_of(record)
    return ShownUnit("%", 1.0, percent_decimals(record.tolerance_percent))
