"""Recalibrations that a changed product asks for, wherever the reading follows the product.

A change is looked into once (``demanded_at``). While a point's record still waits for its approval,
which may settle the matter, the change stays open and is looked into again.
"""

from __future__ import annotations

import datetime as dt
import logging
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction

from calibration.jobs.models import Job
from calibration.product_changes.effects import (
    Effect,
    effects_of,
    shift_in_words,
    why_nothing_is_asked,
)
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.product_changes import acts as product_changes
from plant.product_changes.models import ProductChange
from plant.products.models import Product
from plant.refusals import Refused
from plant.saving import constraint_messages
from plant.tanks.models import Tank
from plant.transmitters.probe import Contents

log = logging.getLogger(__name__)


@transaction.atomic
def change_product(
    tank: Tank,
    *,
    product: Product | None,
    celsius: Decimal | None,
    on: dt.date,
    why: str,
    by: Person,
    at: dt.datetime,
) -> tuple[ProductChange, list[Job]]:
    """Record the change of a tank's product, and ask for the recalibrations it needs, in one
    transaction.
    """
    change = product_changes.change_product(
        tank, product=product, celsius=celsius, on=on, why=why, by=by, at=at
    )
    return change, raise_for(change, by=by, at=at)


@transaction.atomic
def raise_for(change: ProductChange, *, by: Person | None, at: dt.datetime) -> list[Job]:
    """Raise a job at each point in service whose reading the change moves; ``by=None`` is Spanbook
    itself.

    A point's open job takes the note instead of a second one; so does one that an earlier change
    asked for, when the reading is right again. The ledger entry names every point of the tank.
    """
    if by:
        require(by, "plan", change.site_id)
    changes = ProductChange.objects.select_for_update(of=("self",))
    change = changes.select_related("tank__site", "product", "product_before").get(pk=change.pk)
    if change.demanded_at:
        return []
    later = ProductChange.objects.filter(tank=change.tank_id, id__gt=change.pk).first()
    if later:
        _close(change, {"jobs": 0, "settled by": str(later)}, by=by, at=at)
        return []
    effects = _effects(change)
    demand = _raise_jobs(change, effects, today=change.tank.site.day_of(at))
    details = {"jobs": len(demand.jobs), **demand.details}
    if not demand.waits:
        _close(change, details, by=by, at=at)
    elif demand.jobs:
        enter("ask recalibration", on=change, by=by, details=details)
    return demand.jobs


def _close(
    change: ProductChange, details: dict[str, object], *, by: Person | None, at: dt.datetime
) -> None:
    change.demanded_at = at
    change.save(update_fields=["demanded_at"])
    enter("ask recalibration", on=change, by=by, details=details)


def _effects(change: ProductChange) -> list[Effect]:
    return effects_of(
        change.tank,
        before=Contents(change.product_before, change.celsius_before),
        after=Contents(change.product, change.celsius),
        on=change.on,
        lock=True,
    )


@dataclass
class _Demand:
    """What a change asks of the points of its tank: the jobs raised, what the ledger keeps of each
    point by its tag, and whether a record is awaited.
    """

    jobs: list[Job] = field(default_factory=list)
    details: dict[str, object] = field(default_factory=dict)
    waits: bool = False


def _raise_jobs(change: ProductChange, effects: list[Effect], *, today: dt.date) -> _Demand:
    rows = Job.objects.filter(point__in=[effect.point.pk for effect in effects])
    done = set(rows.filter(product_change=change).values_list("point", flat=True))
    # A submitted job is not locked: its approval holds it while it asks for the point, which is
    # held here.
    submitted = set(rows.filter(state=Job.State.SUBMITTED).values_list("point", flat=True))
    open_jobs = {job.point_id: job for job in rows.open().select_for_update()}
    demand = _Demand()
    for effect in effects:
        pk, tag, job = effect.point.pk, effect.point.tag, open_jobs.get(effect.point.pk)
        if not effect.asks:
            demand.details[tag] = why_nothing_is_asked(effect)
            _note_that_it_is_right_again(job, effect, change)
        elif pk in submitted:
            # Its approval may settle it; nothing can be added to a job that is done.
            demand.waits = True
        elif pk not in done:
            raised = _raised(effect, change, job, today=today)
            demand.jobs.append(raised)
            demand.details[tag] = f"job {raised.pk}: {shift_in_words(effect)}"
    return demand


def _note_that_it_is_right_again(job: Job | None, effect: Effect, change: ProductChange) -> None:
    """On the job that an earlier change asked for."""
    if job and job.product_change_id and effect.outcome.full:
        _add_note(job, effect, change)


def raise_waiting(*, at: dt.datetime, most: int = 500) -> int:
    """Look into the changes that nobody looked into yet, at most so many; the jobs raised. None
    holds up another.
    """
    raised = 0
    for change in ProductChange.objects.filter(demanded_at=None).order_by("id")[:most]:
        try:
            raised += len(raise_for(change, by=None, at=at))
        except Refused as refusal:  # somebody opened a job this moment: the next look finds it
            log.info("product change %s waits: %s", change.pk, refusal)
        except Exception:
            log.exception("product change %s could not be looked into", change.pk)
    return raised


def _raised(effect: Effect, change: ProductChange, job: Job | None, *, today: dt.date) -> Job:
    if job is None:
        job = Job(site_id=change.site_id, point=effect.point, due_on=today)
    if job.state == Job.State.PLANNED:
        # The stronger cause: a stop taken out of its round then stays open, and it is due at once.
        job.why, job.due_on = Job.Why.PRODUCT_CHANGE, min(job.due_on, today)
    _add_note(job, effect, change)
    return job


def _add_note(job: Job, effect: Effect, change: ProductChange) -> None:
    full = effect.outcome.full
    job.product_change, job.shift_percent = change, full.percent if full else None
    job.note = "\n".join(part for part in (job.note, effect.note) if part)
    with constraint_messages():
        job.save()
