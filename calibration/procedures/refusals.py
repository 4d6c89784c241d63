"""Why a procedure is refused, each refusal with its parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plant.refusals import NotAllowed, Refused

if TYPE_CHECKING:
    from calibration.procedures.models import Procedure, ProcedureVersion


class OnlyApprovers(NotAllowed):
    def __init__(self) -> None:
        super().__init__("Only an approver publishes a procedure. Ask one.")


class KeyTaken(Refused):
    def __init__(self, other: Procedure) -> None:
        super().__init__(
            f"The key “{other.key}” belongs to {other.name}; choose another, or edit that "
            "procedure instead.",
            field="key",
        )
        self.other = other


class KeyReserved(Refused):
    def __init__(self, key: str) -> None:
        super().__init__(f"The key “{key}” is an address of its own; choose another.", field="key")
        self.key = key


class NoPrinciple(Refused):
    def __init__(self) -> None:
        super().__init__("Choose the principles it is for; at least one.", field="principles")


class NoReason(Refused):
    def __init__(self) -> None:
        super().__init__("Say what changes and why.", field="reason")


class NothingToAdjust(Refused):
    def __init__(self) -> None:
        super().__init__("A step adjusts; say what may be adjusted.", field="adjusts")


class NewerVersion(Refused):
    """``latest``: the number of the newest version; ``based_on``: the one the change started
    from.
    """

    def __init__(self, latest: int, based_on: int) -> None:
        super().__init__(
            f"Version {latest} is already published, and this started from version {based_on}. "
            "What you typed is still here; read the newer version in another tab before you save "
            "again."
        )
        self.latest, self.based_on = latest, based_on


class NothingMissing(Refused):
    def __init__(self) -> None:
        super().__init__("Every delivered procedure is already published here.")


class SameAsDelivered(Refused):
    def __init__(self, procedure: Procedure) -> None:
        super().__init__(f"{procedure} is already as delivered; there is nothing to publish.")
        self.procedure = procedure


class EditedHere(Refused):
    def __init__(self, version: ProcedureVersion) -> None:
        super().__init__(
            f"Version {version.number} of {version.procedure} was written at this plant, and it "
            "stays. Copy by hand what you want of the delivered text: open “Edit” beside the "
            "difference."
        )
        self.version = version


class UnknownStep(Refused):
    def __init__(self, step_key: str) -> None:
        super().__init__(
            f"The procedure has no step {step_key}; choose one of its steps.", field="step_key"
        )
        self.step_key = step_key


# What can be wrong with the steps of a version: a sentence each, with the numbers of the steps.
FAULTS = {
    "stage": "Step {0}: a reading says which stage it is of, and no other kind of step does.",
    "same key": "Steps {0} and {1} both have the key {key}; give one of them another.",
    "same question": "Step {0} asks for “{label}” twice; word one of them differently.",
    "asks beside readings": (
        "Step {0}: what is read or adjusted is noted anyway; ask for more in a step before or "
        "after it."
    ),
    "as it stands": "There must be one step that reads it as it stands; here are {count}.",
    "before as it stands": (
        "Step {0} comes before step {1}, which reads it as it stands; that comes first."
    ),
    "more than a look": (
        "Step {0}: a look only reads it as it stands; choose test points for more."
    ),
    "no as found": "No step reads as found; without it a record shows nothing.",
    "adjusts too early": "Step {0} adjusts before as found is read; as found comes first.",
    "no as left": "Step {0} adjusts, and no step after it reads as left.",
    "as left alone": "Step {0} reads as left, but no step adjusts.",
    "restores too early": "Step {0} restores and other steps follow; restoring is last.",
}


class WrongSteps(Refused):
    """``fault``: of FAULTS; ``steps``: the numbers of the steps it is about."""

    def __init__(self, fault: str, *steps: int, **words: str | int) -> None:
        super().__init__(FAULTS[fault].format(*steps, **words), field="steps")
        self.fault, self.steps = fault, steps
