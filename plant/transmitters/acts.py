"""Transmitters, and which measuring point each served when: install, remove, swap.

A day in the past is legal: swaps are often entered late. It needs an approver, or a planner with
the reason.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import Q

from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.refusals import DayToCome, OfAnotherSite
from plant.saving import check, constraint_messages, locked, put
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Installation, Transmitter
from plant.transmitters.refusals import (
    ChangedInstallation,
    DestinationMissing,
    InstalledElsewhere,
    InstalledLater,
    InstalledTransmitter,
    LateReasonMissing,
    OccupiedPoint,
    RemovalTooEarly,
    UnfitTransmitter,
    UninstalledTransmitter,
)

Status = Transmitter.Status


# ---- the devices ----
@transaction.atomic
def add_transmitter(transmitter: Transmitter, *, by: Person) -> Transmitter:
    require(by, "edit register", transmitter.site_id)
    check(transmitter)
    with constraint_messages():
        transmitter.save()
    enter("add transmitter", on=transmitter, by=by, details={"principle": transmitter.principle})
    return transmitter


@transaction.atomic
def change_transmitter(transmitter: Transmitter, *, seen: str, by: Person) -> Transmitter:
    """Store a transmitter's changed data. Whether it is in service follows from its
    installation.
    """
    require(by, "edit register", transmitter.site_id)
    stored = locked(transmitter, seen=seen, fields=TRANSMITTER.fields)
    changed = put(transmitter, stored, TRANSMITTER.fields)
    present = _present(transmitter=stored)
    if present and stored.status != Status.IN_SERVICE:
        raise InstalledTransmitter(tag=present.point.tag)
    if not present and stored.status == Status.IN_SERVICE:
        raise UninstalledTransmitter
    check(stored)
    with constraint_messages():
        stored.save(update_fields=TRANSMITTER.fields)
    enter("change transmitter", on=stored, by=by, details=changed)
    return stored


# ---- installations ----
@transaction.atomic
def install(
    point: MeasuringPoint,
    *,
    transmitter: Transmitter,
    on: dt.date,
    today: dt.date,
    by: Person,
    why: str = "",
    note: str = "",
) -> Installation:
    """Install ``transmitter`` at a free ``point`` from the day ``on``; ``today`` is the site's."""
    point = _lock(point)
    _require_day(by, point, on, today, why)
    present = _present(point=point)
    if present:
        raise OccupiedPoint(transmitter=present.transmitter, tag=point.tag)
    new = _begin(point, transmitter, on, note)
    enter(
        "install", on=point, by=by, why=why, details=_details(on, today, installed=new.transmitter)
    )
    return new


@transaction.atomic
def remove(
    point: MeasuringPoint,
    *,
    seen: int | None,
    goes: str,
    on: dt.date,
    today: dt.date,
    by: Person,
    why: str = "",
) -> Installation:
    """End the installation with id ``seen``; the transmitter then is ``goes`` (spare, in
    repair, scrapped).
    """
    point = _lock(point)
    _require_day(by, point, on, today, why)
    old = _end(point, seen, goes, on)
    details = _details(on, today, removed=old.transmitter) | {"now": goes}
    enter("remove", on=point, by=by, why=why, details=details)
    return old


@transaction.atomic
def swap(
    point: MeasuringPoint,
    *,
    transmitter: Transmitter,
    seen: int | None,
    goes: str,
    on: dt.date,
    today: dt.date,
    by: Person,
    why: str = "",
    note: str = "",
) -> Installation:
    """Put ``transmitter`` in the place of the present one at ``point`` on the day ``on``.

    ``seen``: the id of the installation that ends.
    """
    point = _lock(point)
    _require_day(by, point, on, today, why)
    old = _end(point, seen, goes, on)
    new = _begin(point, transmitter, on, note)
    details = _details(on, today, removed=old.transmitter, installed=new.transmitter) | {
        "removed one is now": goes
    }
    enter("swap", on=point, by=by, why=why, details=details)
    return new


def may_enter_installations(person: Person, site_id: int) -> bool:
    """Whether this person may enter installations at all (an approver: those of past days)."""
    return may(person, "edit register", site_id) or may(person, "approve", site_id)


def _require_day(by: Person, point: MeasuringPoint, on: dt.date, today: dt.date, why: str) -> None:
    if on > today:
        raise DayToCome
    if on < today and may(by, "approve", point.site_id):
        return
    require(by, "edit register", point.site_id)
    if on < today and not why.strip():
        raise LateReasonMissing


def _lock(point: MeasuringPoint) -> MeasuringPoint:
    return MeasuringPoint.objects.select_for_update().get(pk=point.pk)


def _present(**what: MeasuringPoint | Transmitter) -> Installation | None:
    rows = Installation.objects.filter(removed_on=None, **what)
    return rows.select_related("transmitter", "point").first()


def _end(point: MeasuringPoint, seen: int | None, goes: str, on: dt.date) -> Installation:
    old = _present(point=point)
    if old is None or old.pk != seen:
        raise ChangedInstallation(point.tag, old.transmitter if old else None)
    if goes not in (Status.SPARE, Status.IN_REPAIR, Status.SCRAPPED):
        raise DestinationMissing
    if on <= old.installed_on:
        raise RemovalTooEarly(old.transmitter, old.installed_on)
    old.removed_on = on
    check(old)
    with constraint_messages():
        old.save(update_fields=["removed_on"])
    Transmitter.objects.filter(pk=old.transmitter_id).update(status=goes)
    return old


def _begin(point: MeasuringPoint, transmitter: Transmitter, on: dt.date, note: str) -> Installation:
    transmitter = Transmitter.objects.select_for_update().get(pk=transmitter.pk)
    _refuse_unfit(point, transmitter)
    _refuse_clash(point, transmitter, on)
    new = Installation(
        site_id=point.site_id, point=point, transmitter=transmitter, installed_on=on, note=note
    )
    check(new)
    with constraint_messages():
        new.save()
    transmitter.status = Status.IN_SERVICE
    transmitter.save(update_fields=["status"])
    return new


def _refuse_unfit(point: MeasuringPoint, transmitter: Transmitter) -> None:
    if transmitter.site_id != point.site_id:
        raise OfAnotherSite(what="transmitter", field="transmitter")
    if transmitter.status in (Status.IN_REPAIR, Status.SCRAPPED):
        raise UnfitTransmitter(transmitter=transmitter, status=transmitter.status)


def _refuse_clash(point: MeasuringPoint, transmitter: Transmitter, on: dt.date) -> None:
    """Name the installation in the way; the database's exclusion constraint refuses it as well."""
    later = Q(removed_on=None) | Q(removed_on__gt=on)
    rows = Installation.objects.filter(later).select_related("point", "transmitter")
    other = rows.filter(transmitter=transmitter).first()
    if other:
        raise InstalledElsewhere(other)
    other = rows.filter(point=point).first()
    if other:
        raise InstalledLater(other)


def _details(on: dt.date, today: dt.date, **devices: Transmitter) -> dict[str, str]:
    late = {"entered on": today.isoformat()} if on < today else {}
    return {
        "day": on.isoformat(),
        **late,
        **{what: str(device) for what, device in devices.items()},
    }
