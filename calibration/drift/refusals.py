"""Refusals about the cause of a jump."""

from __future__ import annotations

from plant.refusals import Refused


class NoCause(Refused):
    sentence = "Choose what caused it, or that nothing was found."
    of_field = "cause"


class NoEvidence(Refused):
    sentence = "Write how it is known: an auditor will ask."
    of_field = "text"
