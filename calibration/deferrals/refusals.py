"""Refusals about deferrals."""

from __future__ import annotations

from plant.refusals import Refused


class NoReason(Refused):
    sentence = "Say why it is put off; the approver decides on it."
    of_field = "reason"


class NoNote(Refused):
    sentence = "Say why it is refused; the person who asked reads it."
    of_field = "note"


class PointOutOfService(Refused):
    sentence = "{tag} is out of service, so it is not due."


class DayTooEarly(Refused):
    """``after``: the later of the day it is due now and today."""

    sentence = "Choose a day after {after}: that is when it is due now, or today."
    of_field = "until"


class AlreadyAsked(Refused):
    sentence = "A deferral of {tag} already waits for a decision."


class AlreadyDecided(Refused):
    sentence = "{decided_by} has {decision} this deferral already."


class OwnRequest(Refused):
    sentence = "Another person than the one who asked must decide."


class DueDateMoved(Refused):
    sentence = (
        "The due date of {tag} has moved to {due_on} since this was asked. Refuse it; a new one "
        "can be asked."
    )


class DayPassed(Refused):
    sentence = "{until} has come already. Refuse it; a later day can be asked."
