"""What stands in the way of an installation, a removal or a swap."""

from __future__ import annotations

import datetime as dt

from plant.quantities import day_text
from plant.refusals import ReasonMissing, Refused
from plant.transmitters.models import Installation, Transmitter


class InstalledTransmitter(Refused):
    """Its status follows from its installation at the point ``tag``."""

    sentence = "It is installed at {tag}: remove it there and say where it goes."
    of_field = "status"


class UninstalledTransmitter(Refused):
    sentence = "It is not installed at any measuring point: install it at one to put it in service."
    of_field = "status"


class OccupiedPoint(Refused):
    sentence = "{transmitter} is installed at {tag}. Swap it, or remove it first."
    of_field = "transmitter"


class UnfitTransmitter(Refused):
    sentence = (
        "{transmitter} is {status}. Set it to spare on its own page when it is fit for use again."
    )
    of_field = "transmitter"


class OverlappingInstallation(Refused):
    """``other`` is the installation that covers the day."""

    advice = ""

    def __init__(self, other: Installation) -> None:
        text = f"{other.transmitter} {_period(other)}. {self.advice}"
        super().__init__(text, other=other, tag=other.point.tag)


class InstalledElsewhere(OverlappingInstallation):
    advice = "Remove it there first, or correct the day."
    of_field = "transmitter"


class InstalledLater(OverlappingInstallation):
    """Another transmitter served the point on that day or after it."""

    advice = "Choose a later day."
    of_field = "on"


def _period(one: Installation) -> str:
    since = day_text(one.installed_on)
    if one.removed_on is None:
        return f"has been installed at {one.point.tag} since {since}"
    return f"was installed at {one.point.tag} from {since} to {day_text(one.removed_on)}"


class ChangedInstallation(Refused):
    """Somebody else was there first; ``present`` is what is installed now, if anything."""

    def __init__(self, tag: str, present: Transmitter | None) -> None:
        now = f"{present} is installed there now" if present else "no transmitter is there now"
        text = f"Somebody else has changed the installation at {tag}: {now}. Check it, then go on."
        super().__init__(text, tag=tag, present=present)


class DestinationMissing(Refused):
    sentence = "Say where the removed transmitter goes: spare, in repair or scrapped."
    of_field = "goes"


class RemovalTooEarly(Refused):
    of_field = "on"

    def __init__(self, transmitter: Transmitter, installed_on: dt.date) -> None:
        text = (
            f"{transmitter} was installed on {day_text(installed_on)}; it can be removed from the "
            "day after."
        )
        super().__init__(text, transmitter=transmitter, installed_on=installed_on)


class LateReasonMissing(ReasonMissing):
    sentence = "This day is past: say why it is entered late, or ask an approver."
