"""Procedures: a published version never changes; a change is a new version with its reason."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from calibration.models import Adjustment, Procedure, ProcedureStep, ProcedureVersion
from calibration.models.procedure import Shape
from plant.ledger import enter
from plant.models import Person, Site
from plant.refusals import NotAllowed, Refused

SEEDS = Path(__file__).resolve().parent.parent / "seeds" / "procedures.json"
Stage = ProcedureStep.Stage
Kind = ProcedureStep.Kind


@dataclass(frozen=True)
class Step:
    """One step of a version to be published; fields as in ProcedureStep."""

    kind: str
    text: str
    key: str = ""
    stage: str = ""
    settle_seconds: int | None = None
    asks: Sequence[dict[str, Any]] = ()
    stop: str = ""


@transaction.atomic
def publish(
    procedure: Procedure,
    *,
    way: str,
    percents: Sequence[Decimal],
    up_and_down: bool,
    settle_seconds: int,
    steps: Sequence[Step],
    reason: str,
    on: dt.date,
    shape: str = Shape.POINTS,
    adjusts: Sequence[str] = tuple(Adjustment.Kind.values),
    stops: Sequence[str] = (),
) -> ProcedureVersion:
    """Publish the next version; ``percents``: the test points, rising.

    Refused where the order of its steps would let an adjustment come before as found, or leave out what a record needs.
    """
    check_order(steps, shape=shape)
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = procedure.versions.first()
    version = ProcedureVersion(
        procedure=procedure,
        number=latest.number + 1 if latest else 1,
        way=way,
        shape=shape,
        percents=list(percents),
        up_and_down=up_and_down,
        settle_seconds=settle_seconds,
        adjusts=list(adjusts) if any(step.kind == Kind.ADJUST for step in steps) else [],
        stops=list(stops),
        reason=reason,
    )
    version.full_clean()
    version.save()
    ProcedureStep.objects.bulk_create(
        ProcedureStep(version=version, number=n, **(asdict(step) | {"asks": list(step.asks)}))
        for n, step in enumerate(steps, 1)
    )
    version.published_on = on
    version.save(update_fields=["published_on"])
    return version


@transaction.atomic
def revise(
    procedure: Procedure,
    *,
    based_on: int,
    way: str,
    percents: Sequence[Decimal],
    up_and_down: bool,
    settle_seconds: int,
    adjusts: Sequence[str],
    stops: Sequence[str],
    steps: Sequence[Step],
    reason: str,
    by: Person,
    on: dt.date,
) -> ProcedureVersion:
    """Publish what an approver changed. Refused when somebody published meanwhile, or without a reason."""
    sites = by.site_ids("publish procedure")
    if not sites:
        raise NotAllowed("Only an approver changes a procedure. Ask one.")
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = procedure.versions.first()
    if latest is None or latest.number != based_on:
        raise Refused(
            f"Somebody was quicker: version {latest.number if latest else 0} is published, and this was begun on "
            f"version {based_on}. What you typed is still here; read theirs in another tab before you send again."
        )
    if not reason.strip():
        raise Refused("Say what changes and why.", field="reason")
    version = publish(
        procedure, way=way, percents=percents, up_and_down=up_and_down, settle_seconds=settle_seconds, steps=steps,
        reason=reason.strip(), on=on, shape=latest.shape, adjusts=adjusts, stops=stops,
    )  # fmt: skip
    enter(
        "publish procedure", on=procedure, by=by, why=reason, site=Site.objects.get(pk=sites[0]),
        details={"version": version.number, "steps": len(steps)},
    )  # fmt: skip
    return version


def check_order(steps: Sequence[Step], *, shape: str) -> None:
    """As it stands before all that moves, as found before adjusting, as left after it, restoring last.

    Raises Refused with what is wrong and at which step.
    """
    stands, found, left = (
        _places(steps, Kind.READ, stage)
        for stage in (Stage.AS_IT_STANDS, Stage.AS_FOUND, Stage.AS_LEFT)
    )
    adjusting = _places(steps, Kind.ADJUST)
    faults = [
        *_mislabelled(steps),
        *_doubled(steps),
        *_reading(stands, found, [*found, *adjusting, *left], shape),
        *_adjusting(found, adjusting, left),
        *_restoring(_places(steps, Kind.RESTORE), len(steps)),
    ]
    if faults:
        raise Refused(faults[0], field="steps")


def _places(steps: Sequence[Step], kind: str, stage: str | None = None) -> list[int]:
    return [
        n for n, step in enumerate(steps, 1)
        if step.kind == kind and (stage is None or step.stage == stage)
    ]  # fmt: skip


def _mislabelled(steps: Sequence[Step]) -> Iterator[str]:
    for n, step in enumerate(steps, 1):
        if (step.kind == Kind.READ) != bool(step.stage):
            yield f"Step {n}: a reading says of which stage it is, and nothing else does."


def _doubled(steps: Sequence[Step]) -> Iterator[str]:
    """A site's wording finds its step by the key, and an answer its question by the name: each once."""
    seen: dict[str, int] = {}
    for n, step in enumerate(steps, 1):
        first = seen.setdefault(step.key, n)
        if step.key and first != n:
            yield f"Steps {first} and {n} have the key {step.key} both; give one of them another."
        names = [ask["name"] for ask in step.asks]
        for ask in step.asks:
            if names.count(ask["name"]) > 1:
                yield f"Step {n} asks for “{ask['label']}” twice; word one of them differently."


def _reading(stands: list[int], found: list[int], later: list[int], shape: str) -> Iterator[str]:
    if len(stands) != 1:
        yield f"There must be one step that reads it as it stands; here are {len(stands)}."
    elif later and min(later) < stands[0]:
        yield f"Step {min(later)} comes before step {stands[0]}, which reads it as it stands; that comes first."
    if shape == Shape.LOOK and later:
        yield f"Step {later[0]}: a look only reads it as it stands; choose test points for more."
    if shape != Shape.LOOK and not found:
        yield "No step reads as found; without it a record shows nothing."


def _adjusting(found: list[int], adjusting: list[int], left: list[int]) -> Iterator[str]:
    if adjusting and (not found or min(adjusting) < max(found)):
        yield f"Step {min(adjusting)} adjusts before as found is read; as found comes first."
    if adjusting and (not left or max(left) < max(adjusting)):
        yield f"Step {max(adjusting)} adjusts, and no step after it reads as left."
    if left and not adjusting:
        yield f"Step {left[0]} reads as left, but no step adjusts."


def _restoring(restoring: list[int], count: int) -> Iterator[str]:
    if restoring and restoring != list(range(restoring[0], count + 1)):
        yield f"Step {restoring[0]} restores and other steps follow; restoring is last."


def load_seeds(*, on: dt.date) -> int:
    """Publish the procedures that come with Spanbook and are not there yet; returns how many."""
    seeds: dict[str, Any] = json.loads(SEEDS.read_text(encoding="utf-8"))
    known = set(Procedure.objects.values_list("key", flat=True))
    new = [seed for seed in seeds["procedures"] if seed["key"] not in known]
    for seed in new:
        parts = (
            [part] if isinstance(part, dict) else seeds["blocks"][part] for part in seed["steps"]
        )
        with transaction.atomic():
            procedure = Procedure.objects.create(
                key=seed["key"], name=seed["name"], principles=seed["principles"]
            )
            publish(
                procedure,
                way=seed["way"],
                shape=seed["shape"],
                percents=[Decimal(str(p)) for p in seed["percents"]],
                up_and_down=seed["up_and_down"],
                settle_seconds=seed["settle_seconds"],
                adjusts=seed["adjusts"],
                stops=[*seeds["stops"], *seed.get("stops", [])],
                steps=[Step(**step) for part in parts for step in part],
                reason="as delivered; edit it to the site's own rules",
                on=on,
            )
    return len(new)
