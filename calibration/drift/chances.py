"""The chance of passing in words: for pages that ask what a day would bring."""

from __future__ import annotations

import datetime as dt

from calibration.drift.reads import PointTrend
from plant.quantities import plural_text, probability_text


def chance_text(trend: PointTrend, day: dt.date) -> str:
    """The chance that an as found of that day passes; where only the ends are known, of those; ""
    where nothing is.
    """
    chance = trend.chance(day)
    if chance is not None:
        return probability_text(chance)
    ends = [drift for drift in (trend.zero, trend.span) if drift.outlook and drift.dated]
    if not ends:
        return ""
    least = min(drift.in_tolerance(day) for drift in ends)
    return f"{probability_text(least)} for {' and '.join(drift.end for drift in ends)} alone"


def basis_text(trend: PointTrend) -> str:
    """What the chance rests on beside the drift; "" where no chance of the verdict is known."""
    if trend.verdicts is None:
        return ""
    own, family = int(trend.verdicts.own[0]), int(trend.verdicts.family[0])
    tests = plural_text(own, "test")
    if not family:
        return (
            f"How its readings lie beside the line from zero to span rests on {tests} of its own "
            "and a cautious assumption."
        )
    return (
        f"How its readings lie beside the line from zero to span is known from {tests} of its own "
        f"and {plural_text(family, 'member')} of its family."
    )
