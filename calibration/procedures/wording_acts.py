"""A site's own wording beside a step, for its devices: which key is held how long, which lamp
blinks meanwhile.
"""

from __future__ import annotations

from django.db import transaction

from calibration.procedures.models import SiteWording
from calibration.procedures.refusals import UnknownStep
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.saving import check, constraint_messages, locked, put

FIELDS = ("step_key", "devices", "text")


@transaction.atomic
def add(wording: SiteWording, *, by: Person) -> SiteWording:
    """Refused for a step that the procedure's newest version does not have."""
    require(by, "publish procedure", wording.site_id)
    _check(wording)
    with constraint_messages():
        wording.save()
    enter("add wording", on=wording, by=by, details=_details(wording))
    return wording


@transaction.atomic
def change(wording: SiteWording, *, seen: str, by: Person) -> SiteWording:
    """Store what an approver changed; ``seen``: the mark of what they began from. Refused as by
    ``add``, or Stale.
    """
    require(by, "publish procedure", wording.site_id)
    stored = locked(wording, seen=seen, fields=FIELDS)
    changed = put(wording, stored, FIELDS)
    _check(stored)
    with constraint_messages():
        stored.save(update_fields=FIELDS)
    enter("change wording", on=stored, by=by, details=changed)
    return stored


@transaction.atomic
def drop(wording: SiteWording, *, by: Person) -> None:
    """Its former text stays in the row history."""
    require(by, "publish procedure", wording.site_id)
    enter("drop wording", on=wording, by=by, details=_details(wording))
    wording.delete()


def _check(wording: SiteWording) -> None:
    """Leave no empty name among the devices: it would fit every one of them."""
    wording.devices = ", ".join(filter(None, map(str.strip, wording.devices.split(","))))
    newest = wording.procedure.versions.first()
    if newest is None or not newest.steps.filter(key=wording.step_key).exists():
        raise UnknownStep(wording.step_key)
    check(wording)


def _details(wording: SiteWording) -> dict[str, str]:
    return {
        "procedure": wording.procedure.key,
        "step": wording.step_key,
        "devices": wording.devices,
        "text": wording.text,
    }
