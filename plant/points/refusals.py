"""What stands in the way of a measuring point's data or service."""

from __future__ import annotations

import datetime as dt
from typing import Any

from plant.quantities import day_text
from plant.refusals import Refused


class TankOfAnotherSite(Refused):
    sentence = "{tank} is at another site; a measuring point stays at its own."
    of_field = "tank_name"


class OutOfService(Refused):
    def __init__(self, tag: str, since: dt.date) -> None:
        text = f"{tag} has been out of service since {day_text(since)}."
        super().__init__(text, tag=tag, since=since)


class InService(Refused):
    sentence = "{tag} is in service already."


class UnitOfAnotherQuantity(Refused):
    sentence = "Level needs mm, cm, m, in or ft; volume needs m³ or L."
    of_field = "unit"


class RangeOutsideTank(Refused):
    """One end of the range, ``end`` (LRV or URV), lies where the tank holds nothing.

    lowest, highest: what would fit, in ``unit``, as text. counted: what they are.
    """

    sentence = (
        "{end} {value} {unit} lies outside tank {tank}: {counted} run from {lowest} to {highest} "
        "{unit}. Correct the range, or the tank's dimensions if they are wrong."
    )

    def __init__(self, *, end: str, **parts: Any) -> None:
        super().__init__(end=end, field={"LRV": "lower", "URV": "upper"}[end], **parts)
