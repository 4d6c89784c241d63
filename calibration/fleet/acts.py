"""Passes over the fleet: asked for by a planner, run by a worker.

Taken up again after a kill: each chunk is a transaction, and a run without a sign of life for long
is done anew.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.db import transaction

from calibration.families.acts import count_results
from calibration.fleet.changes import chunks
from calibration.fleet.computation import renew
from calibration.fleet.models import FleetRun
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.sites.models import Site

LOST = dt.timedelta(minutes=15)
Clock = Callable[[], dt.datetime]


def ask(site: Site, *, by: Person, at: dt.datetime) -> FleetRun:
    """Have everything computed again, changed or not; the next tick begins it."""
    require(by, "plan", site.pk)
    with transaction.atomic():
        run = FleetRun.objects.create(started_at=at, alive_at=at - LOST)
        enter("compute fleet again", on=run, site=site, by=by)
    return run


def run(*, clock: Clock, nightly: bool) -> FleetRun | None:
    """The pass that waits; of a night also one for what changed. None: nothing to do, or another is
    at it.

    A pass that was asked for, or lost half way, computes everything.
    """
    now = clock()
    with transaction.atomic():
        taken = _take(now, nightly=nightly)
        if taken is None:
            return None
        everything = taken.started_at < now
    parts = list(chunks(None if everything else _last_finished(taken)))
    if not parts and not everything:
        taken.delete()
        return None
    taken.points, taken.done = sum(len(ids) for ids in parts), 0
    taken.save(update_fields=["points", "done"])
    for ids in parts:
        _do(taken, ids, clock)
    count_results()
    taken.finished_at = taken.alive_at = clock()
    taken.save(update_fields=["finished_at", "alive_at"])
    return taken


def _take(now: dt.datetime, *, nightly: bool) -> FleetRun | None:
    """A run that waits or was lost; else, of a night, a new one, unless one is alive."""
    waiting = FleetRun.objects.select_for_update(skip_locked=True).filter(finished_at=None)
    lost = waiting.filter(alive_at__lte=now - LOST).order_by("id").first()
    if lost:
        lost.alive_at, lost.points = now, 0
        lost.save(update_fields=["alive_at", "points"])
        return lost
    if not nightly or FleetRun.objects.filter(finished_at=None).exists():
        return None
    return FleetRun.objects.create(started_at=now, alive_at=now)


def _last_finished(taken: FleetRun) -> dt.datetime | None:
    before = FleetRun.objects.exclude(finished_at=None).exclude(pk=taken.pk)
    last = before.filter(trouble="").order_by("-started_at").first()
    return last.started_at if last else None


def _do(taken: FleetRun, ids: list[int], clock: Clock) -> None:
    try:
        renewed = renew(ids, at=clock())
    except Exception as trouble:
        taken.trouble, taken.finished_at = f"{type(trouble).__name__}: {trouble}", clock()
        taken.save(update_fields=["trouble", "finished_at"])
        raise
    taken.done += len(ids)
    taken.proposals += renewed.proposals
    taken.steps += renewed.jumps
    taken.alive_at = clock()
    taken.save(update_fields=["done", "proposals", "steps", "alive_at"])
