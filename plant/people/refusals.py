"""What stands in the way of accounts and appointments."""

from __future__ import annotations

import datetime as dt

from plant.people.roles import ACTS
from plant.quantities import day_text
from plant.refusals import NotAllowed, Refused


def with_article(words: str) -> str:
    """
    >>> with_article("approver or planner"), with_article("planner")
    ('an approver or planner', 'a planner')
    """
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


def roles_for(act: str) -> str:
    """Who may do ``act``, in words: "an approver or planner"."""
    return with_article(" or ".join(sorted(ACTS[act])))


class RoleMissing(NotAllowed):
    """Another role at this site is needed for ``act``."""

    def __init__(self, act: str) -> None:
        text = (
            f"Only {roles_for(act)} of this site may do this. Ask one of them, or an administrator."
        )
        super().__init__(text, act=act)


class OwnAccount(Refused):
    sentence = "You cannot close your own account; another administrator must."


class PasswordOfOthers(Refused):
    """``sites`` are those at which ``person`` works and the administrator is none."""

    sentence = (
        "{person} also works at {sites}, where you are no administrator: whoever sets the password "
        "could sign there. Ask an administrator of all these sites."
    )


class RolesElsewhere(Refused):
    """``sites`` are those at which ``person`` works and the administrator is none."""

    sentence = (
        "{person} also works at {sites}, where you are no administrator. End the roles here "
        "instead."
    )


class OpenAccount(Refused):
    sentence = "The account of {person} is not closed."


class OwnRole(Refused):
    sentence = (
        "You cannot give yourself a role that makes, judges or reads records; another "
        "administrator must."
    )
    of_field = "role"


class RoleHeld(Refused):
    sentence = "{person} already is {role} there during that time; end that appointment first."
    of_field = "role"


class EndedAppointment(Refused):
    def __init__(self, ends_on: dt.date) -> None:
        super().__init__(f"This appointment ended on {day_text(ends_on)}.", ends_on=ends_on)


class LastAdministrator(Refused):
    sentence = "{site} would be left without an administrator; appoint another first."


class UnmanagedPerson(Refused):
    sentence = "{person} holds no role at a site where you are administrator."


class WeakPassword(Refused):
    sentence = "{reason}"
    of_field = "password"
