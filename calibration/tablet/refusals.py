"""Why a work from the plant is refused, each refusal with its parts."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from plant.quantities import day_text
from plant.refusals import NotAllowed, Refused

if TYPE_CHECKING:
    from calibration.tablet.models import FieldWork
    from plant.transmitters.models import Transmitter


class NotSigned(NotAllowed):
    """No work of that id was signed by this person."""

    def __init__(self) -> None:
        super().__init__(
            "This tablet record was not signed by you. Sign it with your password, then send."
        )


class NotAsSigned(Refused):
    """What was sent is not what was signed."""

    def __init__(self) -> None:
        super().__init__("What was sent is not what was signed. Sign it again, then send.")


class Unreadable(Refused):
    """The content of a work cannot be read."""

    def __init__(self) -> None:
        super().__init__(
            "Its content cannot be read, so no record can be made of it. Keep it without a record."
        )


class NotPublished(Refused):
    def __init__(self) -> None:
        super().__init__("The procedure that was followed is not published here.")


class NoReason(Refused):
    def __init__(self) -> None:
        super().__init__("Say why it is settled this way: an auditor will ask.", field="why")


class AlreadySettled(Refused):
    def __init__(self, work: FieldWork) -> None:
        super().__init__(f"This tablet record is already settled: {work.get_state_display()}.")
        self.work = work


class OwnWork(Refused):
    def __init__(self) -> None:
        super().__init__("Nobody settles their own work; ask another planner or approver.")


class OtherTransmitter(Refused):
    """``read``: the serial number that the tablet had; ``installed``: what the register has."""

    def __init__(self, read: str, installed: Transmitter | None, day: dt.date) -> None:
        super().__init__(
            f"{read or 'Another transmitter'} was read, but by the register "
            f"{installed or 'no transmitter'} was installed there on {day_text(day)}. Correct the "
            "installation first, or keep it without a record."
        )
        self.read, self.installed, self.day = read, installed, day


class RecordWaiting(Refused):
    def __init__(self, tag: str) -> None:
        super().__init__(
            f"Another record of {tag} waits for approval. Let it be approved or returned first."
        )
        self.tag = tag
