"""Refusals about reasons of a status."""

from __future__ import annotations

from plant.refusals import Refused


class NotAReason(Refused):
    sentence = "{tag} no longer has this reason; look at its page again."


class NoWhy(Refused):
    sentence = "Say why the reading can be relied on all the same; an auditor will ask."
    of_field = "why"


class OwnRecord(Refused):
    sentence = "You performed record {record}; another approver must close this reason."
