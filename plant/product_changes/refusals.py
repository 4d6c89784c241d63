"""What stands in the way of a change of product."""

from __future__ import annotations

import datetime as dt

from plant.quantities import day_text
from plant.refusals import Refused
from plant.tanks.models import Tank


class ChangedContents(Refused):
    """Somebody else was first: the tank holds ``contents`` now."""

    sentence = (
        "Somebody else has changed what {tank} holds: now it is {contents}. Check again what your "
        "change does, then save it."
    )


class SameContents(Refused):
    sentence = "{tank} holds {contents} already; change the product or its temperature."
    of_field = "product_name"


class LaterChange(Refused):
    """The tank's contents changed on the day ``since``, after the day that was given."""

    of_field = "on"

    def __init__(self, tank: Tank, contents: str, since: dt.date) -> None:
        text = (
            f"{tank} has held {contents} since {day_text(since)}; a change before that day cannot "
            "be entered now. Enter that day or a later one."
        )
        super().__init__(text, tank=tank, contents=contents, since=since)
