"""The staircase: longer each time an instrument is found in tolerance, shorter when out.

Source: ILAC-G24:2022 / OIML D 10:2022 for the type of method (from memory); checked by INT-06.
"""

from __future__ import annotations

import math

from plant.level.checks import BadArgument

LONGER = 0.1  # staircase: lengthen by this share when found in tolerance


def staircase(
    current: float, in_tolerance: bool, *, longer: float = LONGER, shorter: float
) -> float:
    """Next interval, in the unit of ``current``.

    Times 1 + longer where the instrument was in tolerance as found, else times 1 − shorter. Raises
    BadArgument for a current interval or ``longer`` not above zero, or ``shorter`` outside 0 to 1.

    >>> round(staircase(12, True, longer=0.1, shorter=0.55), 9)
    13.2
    """
    if not (math.isfinite(current) and current > 0):
        raise BadArgument("current", f"{current} is not above zero")
    _check_changes(longer, shorter)
    return current * (1 + longer if in_tolerance else 1 - shorter)


def staircase_target(longer: float, shorter: float) -> float:
    """Share in tolerance at which the staircase settles: (1 + longer)^R (1 − shorter)^(1 − R) = 1.

    Raises BadArgument as staircase.

    >>> round(staircase_target(0.1, 0.55), 3)
    0.893
    """
    _check_changes(longer, shorter)
    up, down = math.log1p(longer), math.log1p(-shorter)
    return -down / (up - down)


def _check_changes(longer: float, shorter: float) -> None:
    if not (math.isfinite(longer) and longer > 0):
        raise BadArgument("longer", f"{longer} is not above zero")
    if not 0 < shorter < 1:
        raise BadArgument("shorter", f"{shorter} is not between 0 and 1")
