"""Procedures: a published version never changes; a change is a new version with its reason."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace

from django.core.exceptions import ValidationError
from django.db import transaction

from calibration.procedures.models import Procedure, ProcedureStep, ProcedureVersion, Shape
from calibration.procedures.version_change import Content, Step
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.refusals import NotAllowed, Refused
from plant.sites.models import Site
from plant.transmitters.models import Principle

Stage = ProcedureStep.Stage
Kind = ProcedureStep.Kind
# Addresses beside the procedures' own.
TAKEN_WORDS = ("new", "delivered", "wordings")


def content_of(version: ProcedureVersion) -> Content:
    """What a stored version says."""
    return Content(
        way=version.way,
        percents=version.percents,
        up_and_down=version.up_and_down,
        settle_seconds=version.settle_seconds,
        shape=version.shape,
        adjusts=version.adjusts,
        stops=version.stops,
        steps=[
            Step(s.kind, s.text, s.key, s.stage, s.settle_seconds, s.asks, s.stop)
            for s in version.steps.all()
        ],
    )


def draft(
    procedure: Procedure, content: Content, *, number: int = 1, reason: str = ""
) -> tuple[ProcedureVersion, list[ProcedureStep]]:
    """A version and its steps as they would be published, checked and not stored.

    Refused where the order of its steps would let an adjustment come before as found, or leave out
    what a record needs.
    """
    check_order(content.steps, shape=content.shape)
    is_adjusted = any(step.kind == Kind.ADJUST for step in content.steps)
    if is_adjusted and not content.adjusts:
        raise Refused("A step adjusts; say what may be adjusted.", field="adjusts")
    facts = {name: value for name, value in vars(content).items() if name != "steps"}
    facts |= {"adjusts": list(content.adjusts) if is_adjusted else []}
    version = ProcedureVersion(procedure=procedure, number=number, reason=reason, **facts)
    try:
        version.clean_fields(exclude=["procedure"])
    except ValidationError as wrong:
        field, said = next(iter(wrong.message_dict.items()))
        raise Refused(" ".join(said), field=field) from wrong
    steps = [
        ProcedureStep(version=version, number=n, **(asdict(step) | {"asks": list(step.asks)}))
        for n, step in enumerate(content.steps, 1)
    ]
    return version, steps


@transaction.atomic
def publish(
    procedure: Procedure, content: Content, *, reason: str, on: dt.date
) -> ProcedureVersion:
    """Publish the next version. Refused as by ``draft``."""
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = procedure.versions.first()
    number = latest.number + 1 if latest else 1
    version, steps = draft(procedure, content, number=number, reason=reason)
    version.save()
    for step in steps:
        step.version = version
    ProcedureStep.objects.bulk_create(steps)
    version.published_on = on  # last: the steps of a published version stay
    version.save(update_fields=["published_on"])
    return version


@transaction.atomic
def create(
    *,
    key: str,
    name: str,
    principles: Sequence[str],
    content: Content,
    reason: str,
    by: Person,
    on: dt.date,
) -> ProcedureVersion:
    """A new procedure with its first version. Refused: key taken, no principle, no reason, and as
    by ``draft``.
    """
    site = site_of(by)
    _check_reason(reason)
    row = drafted_row(key=key, name=name, principles=principles)
    # Of two at once, the second waits here for the first and then finds its row.
    row, is_new = Procedure.objects.get_or_create(
        key=row.key, defaults={"name": row.name, "principles": row.principles}
    )
    if not is_new:
        raise _taken(row)
    version = publish(row, content, reason=reason.strip(), on=on)
    enter(
        "publish procedure",
        on=row,
        by=by,
        why=reason,
        site=site,
        details={"version": 1, "steps": len(content.steps), "for": ", ".join(row.principles)},
    )
    return version


def drafted_row(*, key: str, name: str, principles: Sequence[str]) -> Procedure:
    """The procedure as it would be stored. Refused where its key is taken or it is for nothing."""
    if not principles or not set(principles) <= set(Principle.values):
        raise Refused("Say for which principles it is; at least one.", field="principles")
    if key in TAKEN_WORDS:
        raise Refused(f"The key “{key}” is an address of its own; choose another.", field="key")
    if other := Procedure.objects.filter(key=key).first():
        raise _taken(other)
    row = Procedure(key=key, name=name.strip(), principles=list(principles))
    try:
        row.clean_fields()
    except ValidationError as wrong:
        field, said = next(iter(wrong.message_dict.items()))
        raise Refused(" ".join(said), field=field) from wrong
    return row


def _taken(other: Procedure) -> Refused:
    return Refused(
        f"The key “{other.key}” belongs to {other.name}; choose another, or change that procedure "
        "instead.",
        field="key",
    )


@transaction.atomic
def revise(
    procedure: Procedure, content: Content, *, based_on: int, reason: str, by: Person, on: dt.date
) -> ProcedureVersion:
    """Publish what an approver changed; its shape stays. Refused when outrun by another, or without
    a reason.
    """
    site = site_of(by)
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = procedure.versions.first()
    latest = check_based_on(latest, based_on)
    _check_reason(reason)
    content = replace(content, shape=latest.shape)
    version = publish(procedure, content, reason=reason.strip(), on=on)
    enter(
        "publish procedure",
        on=procedure,
        by=by,
        why=reason,
        site=site,
        details={"version": version.number, "steps": len(content.steps)},
    )
    return version


def site_of(by: Person) -> Site:
    """Where the ledger keeps it: procedures belong to no site. Refused for whoever approves
    nowhere.
    """
    sites = by.site_ids("publish procedure")
    if not sites:
        raise NotAllowed("Only an approver publishes a procedure. Ask one.")
    return Site.objects.get(pk=sites[0])


def check_based_on(latest: ProcedureVersion | None, based_on: int) -> ProcedureVersion:
    """The newest version, where it is still the one that a change was begun on."""
    if latest is None or latest.number != based_on:
        raise Refused(
            f"Somebody was quicker: version {latest.number if latest else 0} is published, and "
            "this was begun on "
            f"version {based_on}. What you typed is still here; read theirs in another tab before "
            "you send again."
        )
    return latest


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise Refused("Say what changes and why.", field="reason")


def check_order(steps: Sequence[Step], *, shape: str) -> None:
    """As it stands before all that moves, as found before adjusting, as left after it, restoring
    last.

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
        *_asking(steps),
        *_reading(stands, found, [*found, *adjusting, *left], shape),
        *_adjusting(found, adjusting, left),
        *_restoring(_places(steps, Kind.RESTORE), len(steps)),
    ]
    if faults:
        raise Refused(faults[0], field="steps")


def _places(steps: Sequence[Step], kind: str, stage: str | None = None) -> list[int]:
    return [
        n
        for n, step in enumerate(steps, 1)
        if step.kind == kind and (stage is None or step.stage == stage)
    ]


def _mislabelled(steps: Sequence[Step]) -> Iterator[str]:
    for n, step in enumerate(steps, 1):
        if (step.kind == Kind.READ) != bool(step.stage):
            yield f"Step {n}: a reading says of which stage it is, and nothing else does."


def _doubled(steps: Sequence[Step]) -> Iterator[str]:
    """A site's wording finds its step by the key, and an answer its question by the name: each
    once.
    """
    seen: dict[str, int] = {}
    for n, step in enumerate(steps, 1):
        first = seen.setdefault(step.key, n)
        if step.key and first != n:
            yield f"Steps {first} and {n} have the key {step.key} both; give one of them another."
        names = [ask["name"] for ask in step.asks]
        for ask in step.asks:
            if names.count(ask["name"]) > 1:
                yield f"Step {n} asks for “{ask['label']}” twice; word one of them differently."


def _asking(steps: Sequence[Step]) -> Iterator[str]:
    """The tablet takes what is read, and what is adjusted, on screens of their own."""
    for n, step in enumerate(steps, 1):
        if step.asks and step.kind in (Kind.READ, Kind.ADJUST):
            yield (
                f"Step {n}: what is read or adjusted is noted anyway; ask for more in a step "
                "before or after it."
            )


def _reading(stands: list[int], found: list[int], later: list[int], shape: str) -> Iterator[str]:
    if len(stands) != 1:
        yield f"There must be one step that reads it as it stands; here are {len(stands)}."
    elif later and min(later) < stands[0]:
        yield (
            f"Step {min(later)} comes before step {stands[0]}, which reads it as it stands; "
            "that comes first."
        )
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
