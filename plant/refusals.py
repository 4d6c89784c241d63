from django.core.exceptions import PermissionDenied


class Refused(Exception):
    """An operation says no: the text tells a person what, where, why and what to do.

    ``field`` names the form field the refusal belongs to, where there is one.
    """

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.field = field


class NotAllowed(Refused, PermissionDenied):
    """The person's roles on that site do not include the act; uncaught, it answers 403."""
