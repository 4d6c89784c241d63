"""Procedures: a published version never changes; a change is a new version with its reason. What
comes with Spanbook is published too, and never in place of what a person wrote. A site's own
wordings are stored by calibration.procedures.wording_acts.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction

from calibration.procedures.delivered import (
    FIRST_REASON,
    NEXT_REASON,
    delivered,
    difference_from_delivered,
)
from calibration.procedures.models import Procedure, ProcedureStep, ProcedureVersion
from calibration.procedures.order import check_order
from calibration.procedures.refusals import (
    EditedHere,
    KeyReserved,
    KeyTaken,
    NewerVersion,
    NoPrinciple,
    NoReason,
    NothingMissing,
    NothingToAdjust,
    OnlyApprovers,
    SameAsDelivered,
)
from calibration.procedures.version_change import Content
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.refusals import Refused
from plant.sites.models import Site
from plant.transmitters.models import Principle

# Addresses beside the procedures' own.
RESERVED_KEYS = ("new", "delivered", "wordings")


# ---- drafts: checked and not stored ----
def draft(
    procedure: Procedure, content: Content, *, number: int = 1, reason: str = ""
) -> tuple[ProcedureVersion, list[ProcedureStep]]:
    """A version and its steps as they would be published, checked and not stored.

    Refused where the order of its steps would let an adjustment come before as found, or leave out
    what a record needs.
    """
    check_order(content.steps, shape=content.shape)
    is_adjusted = any(step.kind == ProcedureStep.Kind.ADJUST for step in content.steps)
    if is_adjusted and not content.adjusts:
        raise NothingToAdjust
    values = {name: value for name, value in vars(content).items() if name != "steps"}
    values["adjusts"] = list(content.adjusts) if is_adjusted else []
    version = ProcedureVersion(procedure=procedure, number=number, reason=reason, **values)
    _clean(version, exclude=["procedure"])
    steps = [
        ProcedureStep(version=version, number=n, **(asdict(step) | {"asks": list(step.asks)}))
        for n, step in enumerate(content.steps, 1)
    ]
    return version, steps


def draft_procedure(*, key: str, name: str, principles: Sequence[str]) -> Procedure:
    """The procedure as it would be stored. Refused where its key is taken or it is for nothing."""
    if not principles or not set(principles) <= set(Principle.values):
        raise NoPrinciple
    if key in RESERVED_KEYS:
        raise KeyReserved(key)
    if other := Procedure.objects.filter(key=key).first():
        raise KeyTaken(other)
    row = Procedure(key=key, name=name.strip(), principles=list(principles))
    _clean(row)
    return row


def check_based_on(latest: ProcedureVersion | None, based_on: int) -> ProcedureVersion:
    """The newest version, where it is still the one that a change started from."""
    if latest is None or latest.number != based_on:
        raise NewerVersion(latest.number if latest else 0, based_on)
    return latest


def _clean(row: models.Model, *, exclude: Sequence[str] = ()) -> None:
    try:
        row.clean_fields(exclude=exclude)
    except ValidationError as wrong:
        field, messages = next(iter(wrong.message_dict.items()))
        raise Refused(" ".join(messages), field=field) from wrong


# ---- publishing ----
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
    site = _site_of(by)
    _check_reason(reason)
    row = draft_procedure(key=key, name=name, principles=principles)
    # Of two at once, the second waits here for the first and then finds its row.
    row, is_new = Procedure.objects.get_or_create(
        key=row.key, defaults={"name": row.name, "principles": row.principles}
    )
    if not is_new:
        raise KeyTaken(row)
    version = publish(row, content, reason=reason.strip(), on=on)
    details = {"for": ", ".join(row.principles)}
    _enter(version, content, details, why=reason, by=by, site=site)
    return version


@transaction.atomic
def revise(
    procedure: Procedure, content: Content, *, based_on: int, reason: str, by: Person, on: dt.date
) -> ProcedureVersion:
    """Publish what an approver changed; its shape stays. Refused where a newer version is
    published, or without a reason.
    """
    site = _site_of(by)
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = check_based_on(procedure.versions.first(), based_on)
    _check_reason(reason)
    content = replace(content, shape=latest.shape)
    version = publish(procedure, content, reason=reason.strip(), on=on)
    _enter(version, content, {}, why=reason, by=by, site=site)
    return version


@transaction.atomic
def publish(
    procedure: Procedure, content: Content, *, reason: str, on: dt.date
) -> ProcedureVersion:
    """Store the next version; the acts write the ledger. Refused as by ``draft``."""
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


# ---- what comes with Spanbook ----
@transaction.atomic
def publish_delivered(*, by: Person, on: dt.date) -> list[Procedure]:
    """Publish those that are missing, each as its version 1. Refused where none is."""
    site = _site_of(by)
    new = publish_missing(on=on)
    if not new:
        raise NothingMissing
    keys = [procedure.key for procedure in new]
    enter("take in delivered procedures", on=site, by=by, details={"procedures": keys})
    return new


@transaction.atomic
def follow_delivered(
    procedure: Procedure, *, based_on: int, by: Person, on: dt.date
) -> ProcedureVersion:
    """Publish the delivered text as the next version. Refused where a person edited it, or it is
    the same already.
    """
    site = _site_of(by)
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    row = difference_from_delivered(procedure)
    if row is None:
        raise SameAsDelivered(procedure)
    if row.is_edited:
        raise EditedHere(row.latest)
    check_based_on(row.latest, based_on)
    version = publish(procedure, row.delivered.content, reason=NEXT_REASON, on=on)
    details = {"changed": str(row.change)}
    _enter(version, row.delivered.content, details, why=NEXT_REASON, by=by, site=site)
    return version


@transaction.atomic
def publish_missing(*, on: dt.date) -> list[Procedure]:
    """Publish the delivered procedures that are missing; by nobody, when a demo plant is made."""
    known = set(Procedure.objects.values_list("key", flat=True))
    new = []
    for text in delivered():
        if text.key in known:
            continue
        values = {"name": text.name, "principles": list(text.principles)}
        # Of two at once, the second waits here for the first and leaves its rows alone.
        procedure, is_new = Procedure.objects.get_or_create(key=text.key, defaults=values)
        if is_new:
            publish(procedure, text.content, reason=FIRST_REASON, on=on)
            new.append(procedure)
    return new


def _site_of(by: Person) -> Site:
    """Where the ledger keeps it: procedures belong to no site. Refused for whoever approves
    nowhere.
    """
    sites = by.site_ids("publish procedure")
    if not sites:
        raise OnlyApprovers
    return Site.objects.get(pk=sites[0])


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise NoReason


def _enter(
    version: ProcedureVersion,
    content: Content,
    more: Mapping[str, Any],
    *,
    why: str,
    by: Person,
    site: Site,
) -> None:
    details = {"version": version.number, "steps": len(content.steps), **more}
    enter("publish procedure", on=version.procedure, by=by, why=why, site=site, details=details)
