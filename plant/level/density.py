"""What a changed density does to an instrument that weighs the liquid.

Hydrostatic and differential pressure transmitters and displacers: a head p = ρ g (h − z) or a
buoyancy is turned into level with the density of the calibration; another density shifts the level
in proportion to the liquid above the foot z. Levels in m above the tank's datum, densities in
kg/m³; numbers may be arrays, shapes broadcast.
Source: hydrostatics (handbook); worked value: TRD-07.
"""

from __future__ import annotations

import numpy as np

from plant.level.arrays import Floats, float_or_array
from plant.level.checks import above_zero, takes_numbers
from plant.level.probes import Shift
from plant.level.signals import FOUR_TO_TWENTY, Signal, percent_at


@takes_numbers("level", "lower", "upper", "at_calibration")
def density_shift(
    level: Floats,
    *,
    lower: Floats,
    upper: Floats,
    at_calibration: Floats,
    now: Floats,
    foot: Floats = 0.0,
    signal: Signal = FOUR_TO_TWENTY,
) -> Shift:
    """Error at a true level when the liquid's density differs from that at calibration.

    at_calibration, now: the two densities. lower, upper: range values, m; lower > upper is reverse
    action. foot: height of the diaphragm, of the lower tapping, or of the displacer's lower end;
    below it nothing is felt. Raises ZeroSpan for equal range values, BadArgument for a density not
    above zero.

    >>> round(density_shift(6.0, lower=0, upper=8, at_calibration=915, now=897).error, 4)
    -1.4754
    """
    before, after = above_zero("at_calibration", at_calibration), above_zero("now", now)
    height = np.asarray(level, dtype=float)
    seen = height + np.maximum(height - foot, 0.0) * (after / before - 1)
    indicated = np.asarray(percent_at(seen, lower=lower, upper=upper))
    error = indicated - percent_at(height, lower=lower, upper=upper)
    return Shift(
        float_or_array(indicated), float_or_array(error), float_or_array(error / 100 * signal.span)
    )
