"""The order of a procedure's steps: as it stands before all that moves, as found before adjusting,
as left after it, restoring last. It knows steps, not rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from calibration.procedures.models import ProcedureStep, Shape
from calibration.procedures.refusals import WrongSteps
from calibration.procedures.version_change import Step


def check_order(steps: Sequence[Step], *, shape: str) -> None:
    """Raises WrongSteps with the first that is wrong."""
    found = _places(steps, ProcedureStep.Kind.READ, ProcedureStep.Stage.AS_FOUND)
    left = _places(steps, ProcedureStep.Kind.READ, ProcedureStep.Stage.AS_LEFT)
    adjusting = _places(steps, ProcedureStep.Kind.ADJUST)
    faults = [
        *_stages(steps),
        *_doubled(steps),
        *_asking(steps),
        *_first_reading(
            _places(steps, ProcedureStep.Kind.READ, ProcedureStep.Stage.AS_IT_STANDS),
            found + adjusting + left,
        ),
        *_shape(shape, found, found + adjusting + left),
        *_adjusting(found, adjusting, left),
        *_restoring(_places(steps, ProcedureStep.Kind.RESTORE), len(steps)),
    ]
    if faults:
        raise faults[0]


def _places(steps: Sequence[Step], kind: str, stage: str | None = None) -> list[int]:
    return [
        n
        for n, step in enumerate(steps, 1)
        if step.kind == kind and (stage is None or step.stage == stage)
    ]


def _stages(steps: Sequence[Step]) -> Iterator[WrongSteps]:
    for n, step in enumerate(steps, 1):
        if (step.kind == ProcedureStep.Kind.READ) != bool(step.stage):
            yield WrongSteps("stage", n)


def _doubled(steps: Sequence[Step]) -> Iterator[WrongSteps]:
    """A site's wording finds its step by the key, and an answer its question by the name: each
    once.
    """
    seen: dict[str, int] = {}
    for n, step in enumerate(steps, 1):
        first = seen.setdefault(step.key, n)
        if step.key and first != n:
            yield WrongSteps("same key", first, n, key=step.key)
        names = [ask["name"] for ask in step.asks]
        for ask in step.asks:
            if names.count(ask["name"]) > 1:
                yield WrongSteps("same question", n, label=ask["label"])


def _asking(steps: Sequence[Step]) -> Iterator[WrongSteps]:
    """The tablet has screens of their own for what is read, and for what is adjusted."""
    for n, step in enumerate(steps, 1):
        if step.asks and step.kind in (ProcedureStep.Kind.READ, ProcedureStep.Kind.ADJUST):
            yield WrongSteps("asks beside readings", n)


def _first_reading(stands: list[int], later: list[int]) -> Iterator[WrongSteps]:
    if len(stands) != 1:
        yield WrongSteps("as it stands", count=len(stands))
    elif later and min(later) < stands[0]:
        yield WrongSteps("before as it stands", min(later), stands[0])


def _shape(shape: str, found: list[int], later: list[int]) -> Iterator[WrongSteps]:
    if shape == Shape.LOOK and later:
        yield WrongSteps("more than a look", later[0])
    if shape != Shape.LOOK and not found:
        yield WrongSteps("no as found")


def _adjusting(found: list[int], adjusting: list[int], left: list[int]) -> Iterator[WrongSteps]:
    if not adjusting:
        if left:
            yield WrongSteps("as left alone", left[0])
        return
    if not found or min(adjusting) < max(found):
        yield WrongSteps("adjusts too early", min(adjusting))
    if not left or max(left) < max(adjusting):
        yield WrongSteps("no as left", max(adjusting))


def _restoring(restoring: list[int], count: int) -> Iterator[WrongSteps]:
    if restoring and restoring != list(range(restoring[0], count + 1)):
        yield WrongSteps("restores too early", restoring[0])
