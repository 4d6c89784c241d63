"""Transmitters, and which measuring point each served when: install, remove, swap.

A day in the past is legal: swaps are often told late. It needs an approver, or a planner with the
reason.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import Q

from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.points.models import MeasuringPoint
from plant.quantities import day_text
from plant.refusals import Refused
from plant.saving import check, locked, put, walls_speak
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Installation, Transmitter

Status = Transmitter.Status


# ---- the devices ----
@transaction.atomic
def add_transmitter(transmitter: Transmitter, *, by: Person) -> Transmitter:
    require(by, "edit register", transmitter.site_id)
    check(transmitter)
    with walls_speak():
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
    hanging = _present(transmitter=stored)
    if hanging and stored.status != Status.IN_SERVICE:
        raise Refused(
            f"It hangs at {hanging.point.tag}: remove it there and say where it went.",
            field="status",
        )
    if not hanging and stored.status == Status.IN_SERVICE:
        raise Refused(
            "It hangs at no measuring point: install it at one to put it in service.",
            field="status",
        )
    check(stored)
    with walls_speak():
        stored.save(update_fields=TRANSMITTER.fields)
    enter("change transmitter", on=stored, by=by, details=changed)
    return stored


# ---- what hangs where ----
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
    """Hang ``transmitter`` at a free ``point`` from the day ``on``. ``today`` is the site's day."""
    point = _lock(point)
    _may_tell(by, point, on, today, why)
    hanging = _present(point=point)
    if hanging:
        raise Refused(
            f"{hanging.transmitter} hangs at {point.tag}. Swap it, or remove it first.",
            field="transmitter",
        )
    new = _hang(point, transmitter, on, note)
    enter("install", on=point, by=by, why=why, details=_told(on, today, installed=new.transmitter))
    return new


@transaction.atomic
def remove(
    point: MeasuringPoint,
    *,
    hanging: int | None,
    goes: str,
    on: dt.date,
    today: dt.date,
    by: Person,
    why: str = "",
) -> Installation:
    """Take down the installation with id ``hanging``; the transmitter then is ``goes`` (spare, in
    repair, scrapped).
    """
    point = _lock(point)
    _may_tell(by, point, on, today, why)
    old = _take_down(point, hanging, goes, on)
    details = _told(on, today, removed=old.transmitter) | {"now": goes}
    enter("remove", on=point, by=by, why=why, details=details)
    return old


@transaction.atomic
def swap(
    point: MeasuringPoint,
    *,
    transmitter: Transmitter,
    hanging: int | None,
    goes: str,
    on: dt.date,
    today: dt.date,
    by: Person,
    why: str = "",
    note: str = "",
) -> Installation:
    """Put ``transmitter`` in the place of what hangs at ``point`` (installation id ``hanging``) on
    the day ``on``.
    """
    point = _lock(point)
    _may_tell(by, point, on, today, why)
    old = _take_down(point, hanging, goes, on)
    new = _hang(point, transmitter, on, note)
    details = _told(on, today, removed=old.transmitter, installed=new.transmitter) | {
        "removed one is now": goes
    }
    enter("swap", on=point, by=by, why=why, details=details)
    return new


def may_tell(person: Person, site_id: int) -> bool:
    """Whether this person may enter installations at all (an approver: those of past days)."""
    return may(person, "edit register", site_id) or may(person, "approve", site_id)


def _may_tell(by: Person, point: MeasuringPoint, on: dt.date, today: dt.date, why: str) -> None:
    if on > today:
        raise Refused("Enter it on the day itself: this day is still to come.", field="on")
    if on < today and may(by, "approve", point.site_id):
        return
    require(by, "edit register", point.site_id)
    if on < today and not why.strip():
        raise Refused(
            "This day is past: say why it is entered late, or ask an approver.", field="why"
        )


def _lock(point: MeasuringPoint) -> MeasuringPoint:
    return MeasuringPoint.objects.select_for_update().get(pk=point.pk)


def _present(**what: MeasuringPoint | Transmitter) -> Installation | None:
    rows = Installation.objects.filter(removed_on=None, **what)
    return rows.select_related("transmitter", "point").first()


def _take_down(point: MeasuringPoint, hanging: int | None, goes: str, on: dt.date) -> Installation:
    old = _present(point=point)
    if old is None or old.pk != hanging:
        now = f"{old.transmitter} hangs there now" if old else "nothing hangs there now"
        raise Refused(
            f"Somebody else has changed what hangs at {point.tag}: {now}. Look again before you "
            "go on."
        )
    if goes not in (Status.SPARE, Status.IN_REPAIR, Status.SCRAPPED):
        raise Refused(
            "Say where the removed transmitter goes: spare, in repair or scrapped.", field="goes"
        )
    if on <= old.installed_on:
        raise Refused(
            f"{old.transmitter} came here on {day_text(old.installed_on)}; it can go from the day "
            "after.",
            field="on",
        )
    old.removed_on = on
    check(old)
    with walls_speak():
        old.save(update_fields=["removed_on"])
    Transmitter.objects.filter(pk=old.transmitter_id).update(status=goes)
    return old


def _hang(point: MeasuringPoint, transmitter: Transmitter, on: dt.date, note: str) -> Installation:
    transmitter = Transmitter.objects.select_for_update().get(pk=transmitter.pk)
    _refuse_unfit(point, transmitter)
    _refuse_clash(point, transmitter, on)
    new = Installation(
        site_id=point.site_id, point=point, transmitter=transmitter, installed_on=on, note=note
    )
    check(new)
    with walls_speak():
        new.save()
    transmitter.status = Status.IN_SERVICE
    transmitter.save(update_fields=["status"])
    return new


def _refuse_unfit(point: MeasuringPoint, transmitter: Transmitter) -> None:
    if transmitter.site_id != point.site_id:
        raise Refused("That transmitter belongs to another site.", field="transmitter")
    if transmitter.status in (Status.IN_REPAIR, Status.SCRAPPED):
        raise Refused(
            f"{transmitter} is {transmitter.status}. Set it to spare on its own page when it is "
            "fit again.",
            field="transmitter",
        )


def _refuse_clash(point: MeasuringPoint, transmitter: Transmitter, on: dt.date) -> None:
    """Name what stands in the way; the database's exclusion constraint is the wall behind this."""
    later = Q(removed_on=None) | Q(removed_on__gt=on)
    rows = Installation.objects.filter(later).select_related("point", "transmitter")
    other = rows.filter(transmitter=transmitter).first()
    if other:
        raise Refused(
            f"{transmitter} hangs at {other.point.tag} {_days(other)}. Remove it there first, or "
            "correct the day.",
            field="transmitter",
        )
    other = rows.filter(point=point).first()
    if other:
        raise Refused(
            f"{other.transmitter} hung at {point.tag} {_days(other)}. Choose a later day.",
            field="on",
        )


def _days(installation: Installation) -> str:
    since = f"since {day_text(installation.installed_on)}"
    if installation.removed_on is None:
        return since
    return f"from {day_text(installation.installed_on)} to {day_text(installation.removed_on)}"


def _told(on: dt.date, today: dt.date, **devices: Transmitter) -> dict[str, str]:
    late = {"entered on": today.isoformat()} if on < today else {}
    return {
        "day": on.isoformat(),
        **late,
        **{what: str(device) for what, device in devices.items()},
    }
