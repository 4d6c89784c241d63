"""Refusals about rounds and their stops."""

from __future__ import annotations

from plant.refusals import Refused


class NoPoints(Refused):
    sentence = "Tick at least one measuring point on the due list."


class NothingNew(Refused):
    sentence = "Choose at least one measuring point that is not yet a stop of this round."


class SeveralSites(Refused):
    sentence = "A round stays within one site; choose points of one site only."


class PointsInTheWay(Refused):
    """``reasons``: for each point what stands in the way, its tag first."""

    def __init__(self, reasons: list[str]) -> None:
        text = f"{'; '.join(reasons)}. Leave these out, or settle them first."
        super().__init__(text, reasons=reasons)


class StopRemoved(Refused):
    sentence = "{tag} has been taken out of the round meanwhile."


class NotPlanned(Refused):
    sentence = "The job of {tag} is {state}; only a planned stop can be taken out."


class NoName(Refused):
    sentence = "Give the round a name."
    of_field = "name"


class DaysReversed(Refused):
    sentence = "The last day cannot be before the first."
    of_field = "ends_on"


class NoTechnician(Refused):
    sentence = "{person} is no technician at this site; choose another."
    of_field = "technician"


class UnknownTags(Refused):
    sentence = "No measuring point at {site} has the tag {tags}."
