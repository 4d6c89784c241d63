"""Why an approval or a return is refused, each refusal with its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plant.refusals import Refused

if TYPE_CHECKING:
    from calibration.records.models import Calibration


class NotAsShown(Refused):
    def __init__(self, record: Calibration) -> None:
        super().__init__(
            f"What was shown is not {record} as it is stored. Open it again and read it before "
            "you sign."
        )
        self.record = record


class OwnWork(Refused):
    def __init__(self, record: Calibration) -> None:
        super().__init__("Nobody approves or returns their own work; ask another approver.")
        self.record = record


class AlreadyDecided(Refused):
    def __init__(self, record: Calibration) -> None:
        super().__init__(
            f"{record} is already {record.get_state_display()}. Open it to see what was written."
        )
        self.record = record


class NoReason(Refused):
    def __init__(self) -> None:
        super().__init__(
            "Say what is wrong, so that the technician can correct it.", field="reason"
        )
