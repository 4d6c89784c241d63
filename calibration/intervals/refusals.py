"""Refusals about intervals and their proposals."""

from __future__ import annotations

from plant.refusals import NotAllowed, Refused


class LongerNeedsApprover(NotAllowed):
    sentence = "{tag} has safety duty: only an approver may lengthen its interval."
    of_field = "months"


class ApproverMustAgree(NotAllowed):
    sentence = "{tag} has safety duty: {agreed_by} agreed, and an approver must also agree."


class AnotherApproverMustAgree(Refused):
    sentence = "You agreed to this yourself: another approver must also agree for {tag}."


class AlreadyDecided(Refused):
    sentence = "{who} has {state} this proposal for {tag} already. Its interval is {months} months."


class IntervalChanged(Refused):
    sentence = (
        "The interval of {tag} is {months} months by now, and this was computed for "
        "{computed_for}. The next pass computes it again."
    )


class PointOutOfService(Refused):
    sentence = "{tag} is out of service, so its interval stays as it is."


class NotLengthened(Refused):
    sentence = (
        "{tag}: {status}. It is calibrated before its interval is made longer; else a planner sets "
        "the interval by hand, with the reason."
    )


class OutsidePolicy(Refused):
    sentence = (
        "The policy of {tag} now allows {shortest} to {longest} months, not {months}. Decline "
        "this; the next pass computes it again."
    )
