"""Capacitance of a rod or rope in a tank, and what a changed liquid does to a reading.

Probe and tank wall (or reference tube) are the plates of a capacitor. In an insulating liquid the
liquid is the dielectric; a conducting liquid is itself the second plate, and the probe's
insulation the dielectric. Lengths and diameters in m, capacitance in pF, permittivities relative
to vacuum; numbers may be arrays, shapes broadcast.
Source: coaxial and eccentric cylinders of electrostatics (from memory; values in
fixtures/reference/capacitance.json).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from plant.level.arrays import Floats, float_or_array
from plant.level.checks import BadArgument, above_zero, not_below_zero, numbers, takes_numbers
from plant.level.signals import FOUR_TO_TWENTY, Signal, percent_at

EPSILON_0 = 8.8541878188e-12  # F/m. Source: CODATA 2022.
PICOFARADS_PER_METRE = 2e12 * math.pi * EPSILON_0  # of coaxial cylinders in vacuum with ln(D/d) = 1

CONDUCTING = math.inf  # the permittivity of a liquid that is itself a plate
AIR = 1.0


@dataclass(frozen=True)
class Probe:
    """A rod or rope in a tank with a conducting wall, or in a reference tube.

    conductor: diameter of the metal. wall: inner diameter of tank or tube. length: from its tip
    up. tip: height of the tip above the tank's datum. insulation: outer diameter of the cover,
    None for a bare probe; of the given insulation_permittivity. offset: of the probe from the
    tank's axis. Raises BadArgument where it cannot be built.
    """

    conductor: float
    wall: float
    length: float
    tip: float = 0.0
    insulation: float | None = None
    insulation_permittivity: float = 2.1  # PTFE (handbook value, from memory)
    offset: float = 0.0

    def __post_init__(self) -> None:
        above_zero("length", self.length)
        numbers("tip", self.tip)
        if self.insulation is not None:
            _layer(self.conductor, self.insulation, self.insulation_permittivity)
        _layer(self.surface, self.wall, 1.0, self.offset)

    @property
    def surface(self) -> float:
        """Outer diameter of the probe."""
        return self.conductor if self.insulation is None else self.insulation


def per_metre(probe: Probe, permittivity: Floats) -> Floats:
    """pF per metre of the probe in one medium: liquid, gas, or CONDUCTING. Layers stand in series.

    For an insulated probe off the axis it takes the insulation's surface for one potential, which
    a thin cover is.
    Raises BadArgument for a bare probe in a conducting liquid: that is a short circuit and no
    capacitor.

    >>> covered = Probe(0.012, 2.0, 8.0, insulation=0.016)
    >>> round(per_metre(covered, CONDUCTING), 3)
    406.102
    """
    return float_or_array(PICOFARADS_PER_METRE / _layers(probe, permittivity))


def capacitance_at(
    probe: Probe, level: Floats, permittivity: Floats, *, gas: Floats = AIR
) -> Floats:
    """pF of the whole probe at a level, m above the tank's datum. Below the tip the probe is dry.

    Raises BadArgument for a level above the probe's upper end, where it has no more to wet.

    >>> bare = Probe(0.016, 2.0, 8.0)
    >>> [round(capacitance_at(bare, x, 3.05), 2) for x in (0.0, 8.0)]
    [92.18, 281.14]
    """
    wetted = _wetted(probe, level)
    wet, dry = per_metre(probe, permittivity), per_metre(probe, gas)
    return float_or_array(wetted * wet + (probe.length - wetted) * dry)


def _wetted(probe: Probe, level: Floats) -> np.ndarray:
    """How much of the probe stands in the liquid, m."""
    height = numbers("level", level)
    top = probe.tip + probe.length
    if (height > top * (1 + 1e-12) + 1e-12).any():
        raise BadArgument(
            "level", f"{height.max():.6g} m is above the probe, which ends at {top:.6g} m"
        )
    return np.clip(height - probe.tip, 0.0, probe.length)


@dataclass(frozen=True)
class Shift:
    """What a change does to the reading of a full-span linear transmitter.

    indicated: shown, % of span. error: shown minus true, % of span. output_error: the same in the
    unit of the signal, mA or V.
    """

    indicated: Floats
    error: Floats
    output_error: Floats


@takes_numbers("level", "upper")
def permittivity_shift(
    probe: Probe,
    level: Floats,
    *,
    lower: Floats,
    upper: Floats,
    at_calibration: Floats,
    now: Floats,
    gas: Floats = AIR,
    signal: Signal = FOUR_TO_TWENTY,
) -> Shift:
    """Error at a true level when the liquid's permittivity differs from that at calibration.

    level, lower, upper: m above datum; lower > upper is reverse action. at_calibration, now: the
    two permittivities, CONDUCTING for a conducting liquid: then nothing shifts with the product.
    For a bare probe wetted from LRV the reading is the true one times (now − gas)/(at_calibration
    − gas).
    Raises ZeroSpan for equal range values, BadArgument where at_calibration equals the gas and as
    capacitance_at.

    >>> change = {"at_calibration": 3.05, "now": 3.15}
    >>> shift = permittivity_shift(Probe(0.016, 2.0, 8.0), 6.4, lower=0, upper=8, **change)
    >>> round(shift.indicated, 4)
    83.9024
    """
    at_zero = capacitance_at(probe, lower, at_calibration, gas=gas)
    at_span = capacitance_at(probe, upper, at_calibration, gas=gas)
    seen = capacitance_at(probe, level, now, gas=gas)
    return _shift(seen, at_zero, at_span, percent_at(level, lower=lower, upper=upper), signal)


@takes_numbers("level", "upper")
def build_up_shift(
    probe: Probe,
    level: Floats,
    *,
    lower: Floats,
    upper: Floats,
    liquid: Floats,
    film: Floats,
    gas: Floats = AIR,
    signal: Signal = FOUR_TO_TWENTY,
) -> Shift:
    """Largest error from a conducting film that clings to the probe above the level.

    film: its height, m; it is joined to the liquid. On an insulated probe such a film is one more
    plate and reads as level, as long as its resistance is small beside the reactance under it:
    that is the worst case, and what is computed here. It never reaches above the probe.
    Raises BadArgument for a bare probe, a negative film, and as permittivity_shift.
    """
    if probe.insulation is None:
        raise BadArgument("probe", "a conducting film on a bare probe is a leak, not a capacitance")
    cling = not_below_zero("film", film)
    at_zero = capacitance_at(probe, lower, liquid, gas=gas)
    at_span = capacitance_at(probe, upper, liquid, gas=gas)
    wet = capacitance_at(probe, level, liquid, gas=gas)
    dry_from = np.maximum(np.asarray(level, dtype=float), probe.tip)
    coated = np.minimum(cling, probe.tip + probe.length - dry_from)
    seen = wet + coated * (per_metre(probe, CONDUCTING) - per_metre(probe, gas))
    return _shift(seen, at_zero, at_span, percent_at(level, lower=lower, upper=upper), signal)


@takes_numbers("level", "upper", "thickness")
def coating_shift(
    probe: Probe,
    level: Floats,
    *,
    lower: Floats,
    upper: Floats,
    liquid: Floats,
    thickness: Floats,
    permittivity: Floats,
    gas: Floats = AIR,
    signal: Signal = FOUR_TO_TWENTY,
) -> Shift:
    """Error at a true level from an insulating crust all over the probe.

    The crust is one more layer, in series with the rest. thickness: m; permittivity: its own. In a
    conducting liquid it adds to the insulation and the span shrinks; a crust in gas above the
    liquid lifts the reading a little. Raises BadArgument for a negative thickness, a crust that
    reaches the wall, and as permittivity_shift.

    >>> covered = Probe(0.012, 2.0, 8.0, insulation=0.016)
    >>> ends, crust = {"lower": 0, "upper": 8}, {"thickness": 0.001, "permittivity": 2.5}
    >>> round(coating_shift(covered, 8, liquid=CONDUCTING, **ends, **crust).error, 2)
    -26.32
    """
    crust = not_below_zero("thickness", thickness)
    above_zero("permittivity", permittivity, finite=False)
    at_zero = capacitance_at(probe, lower, liquid, gas=gas)
    at_span = capacitance_at(probe, upper, liquid, gas=gas)
    wetted = _wetted(probe, level)
    wet, dry = (_coated_per_metre(probe, medium, crust, permittivity) for medium in (liquid, gas))
    seen = wetted * wet + (probe.length - wetted) * dry
    return _shift(seen, at_zero, at_span, percent_at(level, lower=lower, upper=upper), signal)


def _coated_per_metre(probe: Probe, medium: Floats, crust: Floats, permittivity: Floats) -> Floats:
    outer = probe.surface + 2 * crust
    layers = _layer(outer, probe.wall, medium, probe.offset)
    layers = layers + np.log(outer / probe.surface) / np.asarray(permittivity, dtype=float)
    if probe.insulation is not None:
        layers = layers + _layer(probe.conductor, probe.insulation, probe.insulation_permittivity)
    return PICOFARADS_PER_METRE / layers


@takes_numbers("known", "at", "celsius", "per_kelvin")
def permittivity_at(
    known: Floats, *, at: Floats, celsius: Floats, per_kelvin: Floats = -0.004
) -> Floats:
    """Permittivity at a temperature, °C, from a known one.

    per_kelvin: its change; edible oils −0.004 (invented for the demo, near −0.13 % per K of common
    practice). Raises BadArgument where the line falls under 1.

    >>> round(permittivity_at(3.15, at=25.0, celsius=45.0), 3)
    3.07
    """
    value = np.asarray(known, dtype=float) + np.asarray(per_kelvin) * (
        np.asarray(celsius, dtype=float) - at
    )
    if not (value >= 1).all():
        raise BadArgument(
            "known", "this far from its temperature the permittivity would be under 1"
        )
    return float_or_array(value)


def _layers(probe: Probe, permittivity: Floats) -> Floats:
    around = _layer(probe.surface, probe.wall, permittivity, probe.offset)
    if probe.insulation is None:
        if np.isinf(np.asarray(permittivity, dtype=float)).any():
            raise BadArgument(
                "permittivity",
                "a bare probe in a conducting liquid is a short circuit; give its insulation",
            )
        return around
    return around + _layer(probe.conductor, probe.insulation, probe.insulation_permittivity)


def _layer(inner: Floats, outer: Floats, permittivity: Floats, offset: Floats = 0.0) -> Floats:
    """ln(D/d)/ε of one layer: its share of 1/C. A conducting layer has none."""
    d, big, e = (np.asarray(a, dtype=float) for a in (inner, outer, offset))
    eps = np.asarray(permittivity, dtype=float)
    if not (np.isfinite(big) & (d > 0) & (big > d)).all():
        raise BadArgument("diameters", "the inner must be above zero and the outer above the inner")
    if not (eps >= 1).all():
        raise BadArgument("permittivity", "it must be 1 or above")
    if not (np.abs(e) < (big - d) / 2).all():
        raise BadArgument("offset", "so far from the axis the probe touches the wall")
    apart = np.where(
        e == 0, np.log(big / d), np.arccosh((big**2 + d**2 - 4 * e**2) / (2 * big * d))
    )
    return apart / eps


def _shift(seen: Floats, at_zero: Floats, at_span: Floats, true: Floats, signal: Signal) -> Shift:
    span = np.asarray(at_span) - at_zero
    if (span == 0).any():
        raise BadArgument(
            "at_calibration", "the probe's capacitance does not change over this range"
        )
    indicated = 100 * (np.asarray(seen) - at_zero) / span
    error = indicated - true
    return Shift(
        float_or_array(indicated), float_or_array(error), float_or_array(error / 100 * signal.span)
    )
