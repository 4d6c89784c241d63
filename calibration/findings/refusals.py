"""Refusals about findings."""

from __future__ import annotations

from plant.refusals import Refused


class NoText(Refused):
    sentence = "Write what the readings in doubt were used for and what follows from it."
    of_field = "text"


class NotAssessed(Refused):
    sentence = "The finding has no assessment yet; write one first."


class OwnAssessment(Refused):
    sentence = "Another person than the assessor must agree."


class AlreadyClosed(Refused):
    sentence = "Finding {number} of {tag} was closed on {closed_on:%Y-%m-%d}."
