"""What an act answers when it says no: each refusal a class, with its parts as attributes.

A class gives the sentence, made from the parts, and the form field the refusal belongs to. The
refusals that several rooms share are here; the others stand in the ``refusals`` of their room.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import PermissionDenied


class Refused(Exception):
    """An act says no: the text tells a person what, where, why and what to do.

    ``field`` names the form field the refusal belongs to, where there is one. A named refusal
    gives its parts by keyword; ``sentence`` puts them into words.
    """

    sentence: ClassVar[str] = ""
    of_field: ClassVar[str | None] = None

    def __init__(self, message: str = "", *, field: str | None = None, **parts: Any) -> None:
        self.__dict__.update(parts)
        self.field = field or self.of_field
        super().__init__(message or self.sentence.format(**parts))


class NotAllowed(Refused, PermissionDenied):
    """The person's roles on that site do not include the act; uncaught, it answers 403."""


class ReasonMissing(Refused):
    """An act whose reason belongs in the ledger; ``because`` says what asks for it."""

    sentence = "Say why: {because}."
    of_field = "why"

    def __init__(self, because: str = "an auditor will ask") -> None:
        super().__init__(because=because)


class DayToCome(Refused):
    sentence = "This day is still to come. Enter it on the day itself."
    of_field = "on"


class OfAnotherSite(Refused):
    """``what`` was chosen, such as a product, but another site has it."""

    sentence = "That {what} belongs to another site."


class RuleBroken(Refused):
    """A rule of the model or the database; ``rule`` is its name, "" for the rule of a field."""

    sentence = "{message}"

    def __init__(self, message: str, *, rule: str, field: str | None) -> None:
        super().__init__(message, field=field, rule=rule)
