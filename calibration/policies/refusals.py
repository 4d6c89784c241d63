"""Why a change of a policy is refused, each refusal with its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plant.refusals import Refused

if TYPE_CHECKING:
    from plant.points.models import MeasuringPoint


class UnknownDuty(Refused):
    def __init__(self, duty: str) -> None:
        super().__init__(f"There is no duty called {duty}.")
        self.duty = duty


class NothingChanged(Refused):
    def __init__(self) -> None:
        super().__init__("Nothing differs from the present policy.")


class NoOwnPolicy(Refused):
    def __init__(self, point: MeasuringPoint) -> None:
        super().__init__(
            f"{point.tag} has no policy of its own: it follows the policy for {point.duty} duty."
        )
        self.point = point


class NoReason(Refused):
    def __init__(self) -> None:
        super().__init__("Say why: an auditor will ask.", field="why")
