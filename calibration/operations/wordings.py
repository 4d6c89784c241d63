"""A site's own wording beside a step, for its devices: which key is held how long, which lamp blinks meanwhile."""

from __future__ import annotations

from django.db import transaction

from calibration.models import SiteWording
from plant.ledger import enter
from plant.models import Person
from plant.operations.saving import check
from plant.permissions import require
from plant.refusals import Refused


@transaction.atomic
def add(wording: SiteWording, *, by: Person) -> SiteWording:
    """Refused for a step that the procedure's newest version does not have."""
    require(by, "publish procedure", wording.site_id)
    newest = wording.procedure.versions.first()
    if newest is None or not newest.steps.filter(key=wording.step_key).exists():
        raise Refused(
            f"The procedure has no step {wording.step_key}; choose one of its steps.",
            field="step_key",
        )
    check(wording)
    wording.save()
    enter("add wording", on=wording, by=by, details=_facts(wording))
    return wording


@transaction.atomic
def drop(wording: SiteWording, *, by: Person) -> None:
    """Its former text stays in the row history."""
    require(by, "publish procedure", wording.site_id)
    enter("drop wording", on=wording, by=by, details=_facts(wording))
    wording.delete()


def _facts(wording: SiteWording) -> dict[str, str]:
    return {
        "procedure": wording.procedure.key, "step": wording.step_key, "devices": wording.devices, "text": wording.text,
    }  # fmt: skip
