"""What another product in a tank, or the same at another temperature, does to the reading of a
point there.

Which principle feels what: a capacitance probe the permittivity; a head or a buoyancy the density.
Radar, guided wave and ultrasonic time an echo from the surface, which moves with neither; a float's
draft follows the density by a few millimetres, but the register holds no float's weight. Source:
the laws in plant.level.probes and plant.level.density.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plant.level.density import density_shift
from plant.level.probes import permittivity_shift
from plant.level.signals import percent_at
from plant.points.geometry import inside_height, lowest_height, volume_at
from plant.points.models import MeasuringPoint
from plant.refusals import Refused
from plant.tanks.geometry import Geometry, geometry_of
from plant.transmitters.models import Principle, Transmitter
from plant.transmitters.probe import CAPACITANCE, Contents, Lacking, probe_of, range_levels

BY_DENSITY = frozenset(
    {Principle.HYDROSTATIC, Principle.DIFFERENTIAL_PRESSURE, Principle.DISPLACER}
)
FLOATS = frozenset({Principle.FLOAT, Principle.MAGNETOSTRICTIVE})
SHARES = (0.25, 0.5, 1.0)
"""Of the range, from its lower level up; the last is full."""


@dataclass(frozen=True)
class Effect:
    """Error at a true level: % of span and output as a record would show them; level in m, above
    zero reads high.
    """

    share: float
    percent: float
    output: float
    level: float


@dataclass(frozen=True)
class Outcome:
    """What a change does at one point. ``by``: permittivity, density, or "" where neither matters
    to its principle.

    effects: one for each of SHARES; empty where nothing can be computed (``lacking`` says why) or
    nothing matters. before, after: the permittivity or density calculated with; infinite for a
    conducting liquid.
    """

    point: MeasuringPoint
    device: Transmitter
    by: str
    effects: tuple[Effect, ...] = ()
    before: float | None = None
    after: float | None = None
    lacking: str = ""

    @property
    def full(self) -> Effect | None:
        return self.effects[-1] if self.effects else None

    @property
    def largest(self) -> float:
        """The largest shift over the range, % of span and without sign; 0 where there is none."""
        return max((abs(effect.percent) for effect in self.effects), default=0.0)


def outcome_of(
    point: MeasuringPoint, device: Transmitter, *, before: Contents, after: Contents
) -> Outcome:
    """What it does to ``point``, calibrated on ``before``, that its tank holds ``after`` now.
    point.tank is loaded.
    """
    by = felt_by(device.principle)
    if not by:
        return Outcome(point, device, by)
    try:
        return _computed(point, device, by, before, after)
    except Lacking as lacking:
        return Outcome(point, device, by, lacking=str(lacking))
    except Refused as refusal:
        return Outcome(point, device, by, lacking=f"dimensions of the tank that hold ({refusal})")


def felt_by(principle: str) -> str:
    """Which property of the product a principle's reading follows: permittivity, density or neither
    ("").
    """
    if principle in CAPACITANCE:
        return "permittivity"
    return "density" if principle in BY_DENSITY else ""


def _computed(
    point: MeasuringPoint, device: Transmitter, by: str, before: Contents, after: Contents
) -> Outcome:
    geometry = geometry_of(point.tank)
    low, high = range_levels(point, geometry)
    levels = low + (high - low) * np.array(SHARES)
    was, now = (getattr(contents, by) for contents in (before, after))
    if by == "density":
        errors = _density_errors(point, device, levels, low, high, was, now)
    else:
        errors = _permittivity_errors(point, device, geometry, levels, low, high, was, now)
    percents = _percent(point, geometry, levels + errors) - _percent(point, geometry, levels)
    effects = tuple(
        Effect(share, percent, percent / 100 * point.output.span, error)
        for share, percent, error in zip(SHARES, percents.tolist(), errors.tolist(), strict=True)
    )
    return Outcome(point, device, by, effects, was, now)


def _density_errors(
    point: MeasuringPoint,
    device: Transmitter,
    levels: np.ndarray,
    low: float,
    high: float,
    was: float,
    now: float,
) -> np.ndarray:
    """m. The register has no diaphragm's height: the datum plate is taken; a displacer ends where
    its range does.
    """
    foot = low if device.principle == Principle.DISPLACER else min(low, 0.0)
    moved = density_shift(levels, lower=low, upper=high, at_calibration=was, now=now, foot=foot)
    return np.asarray(moved.error) / 100 * (high - low)


def _permittivity_errors(
    point: MeasuringPoint,
    device: Transmitter,
    geometry: Geometry,
    levels: np.ndarray,
    low: float,
    high: float,
    was: float,
    now: float,
) -> np.ndarray:
    """m."""
    if was == now:  # two conducting liquids, too: the insulation alone is the dielectric
        return np.zeros_like(levels)
    probe = probe_of(device, point, geometry)
    if probe.insulation is None and np.isinf((was, now)).any():
        raise Lacking("the probe's insulation: bare, a conducting product short-circuits it")
    moved = permittivity_shift(probe, levels, lower=low, upper=high, at_calibration=was, now=now)
    return np.asarray(moved.error) / 100 * (high - low)


def _percent(point: MeasuringPoint, geometry: Geometry, levels: np.ndarray) -> np.ndarray:
    """% of span of a correct output at levels in m; for volume, beyond brim or bottom counts as
    brim or bottom.
    """
    values = levels
    if point.quantity == "volume":
        heights = values + point.tank.datum_m
        inside = np.clip(heights, lowest_height(geometry), inside_height(geometry))
        values = np.asarray(volume_at(geometry, inside), dtype=float)
    return np.asarray(percent_at(values, lower=point.lower_base, upper=point.upper_base))
