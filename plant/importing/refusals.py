"""What stands in the way of a file as a whole."""

from __future__ import annotations

from plant.importing.files import LARGEST_FILE, MEGABYTE
from plant.refusals import ReasonMissing, Refused


class FileTooLarge(Refused):
    sentence = f"Up to {LARGEST_FILE // MEGABYTE} MB are accepted. Split the file."
    of_field = "file"


class UnreadableFile(Refused):
    sentence = "{reason}"
    of_field = "file"


class NotChecked(Refused):
    """Only a checked import is applied; ``state`` is the one it is in."""

    sentence = "This import is {state}; it cannot be applied now."


class NotOpen(Refused):
    """An import that is running or done with cannot be withdrawn."""

    sentence = "This import is {state}; it cannot be withdrawn now."


class ChangeReasonMissing(ReasonMissing):
    """``rows`` of the file change what the register holds."""

    def __init__(self, rows: int) -> None:
        super().__init__(f"{rows} row(s) change what is in the register, and an auditor will ask")
        self.rows = rows
