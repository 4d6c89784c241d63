"""Every kind of file Spanbook takes, and who does the waiting work; the steps are those of
plant.importing.acts.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Collection

from calibration.drift import trends
from calibration.importing.calibrations import CALIBRATION_IMPORTER
from calibration.importing.standards import STANDARD_IMPORTER
from calibration.intervals.due_dates import reschedule
from calibration.product_changes import acts as demands
from calibration.records.models import Calibration
from plant.importing import acts as imports
from plant.importing import register
from plant.importing.columns import Parsed
from plant.importing.importer import Context, Importer, Outcome
from plant.importing.models import ImportBatch
from plant.importing.products import PRODUCT_IMPORTER
from plant.importing.register import register_importer
from plant.importing.tanks import TANK_IMPORTER

log = logging.getLogger(__name__)
Kind = ImportBatch.FileKind
AT_ONCE = 50
"""Changed products looked into while the sender of a file waits; a tick of the schedule does the
others.
"""


def _calibrated(point_ids: Collection[int]) -> Collection[int]:
    """Of these points, those whose due date follows from records."""
    return (
        Calibration.objects.standing()
        .filter(point_id__in=point_ids)
        .values_list("point_id", flat=True)
    )


def _write_register(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    """Due dates follow the interval and trends the tolerance, as when a person changes them on a
    page.
    """
    _REGISTER.write(parsed, outcome, context)
    if outcome.changed:
        changed = register.changed_points()
        reschedule(changed)
        trends.refit(changed)


_REGISTER = register_importer(_calibrated)
IMPORTERS: dict[str, Importer] = {
    Kind.PRODUCTS: PRODUCT_IMPORTER,
    Kind.TANKS: TANK_IMPORTER,
    Kind.REGISTER: Importer(_REGISTER.layout, _REGISTER.check, _write_register),
    Kind.STANDARDS: STANDARD_IMPORTER,
    Kind.CALIBRATIONS: CALIBRATION_IMPORTER,
}


def run_now(batch: ImportBatch, *, at: dt.datetime) -> ImportBatch:
    """Take the next step of this import while its sender waits.

    One that a worker has taken already is left alone.
    """
    claimed = imports.claim(at=at, batch=batch)
    return _run(claimed, at=at) if claimed else batch


def _run(batch: ImportBatch, *, at: dt.datetime) -> ImportBatch:
    done = imports.run(batch, IMPORTERS, at=at)
    if done.kind == Kind.TANKS and done.state == ImportBatch.ImportState.APPLIED:
        # In transactions of its own; the rest, or what a kill leaves undone here, is found by the
        # next tick.
        demands.raise_waiting(at=at, most=AT_ONCE)
    return done


def run_waiting(*, clock: Callable[[], dt.datetime]) -> int:
    """Take the next step of every import that waits; the number taken. One that fails holds up no
    other.
    """
    taken = 0
    while batch := imports.claim(at=clock()):
        taken += 1
        try:
            _run(batch, at=clock())
        except Exception:  # its lease runs out and the step is tried again; the others go on
            log.exception("import %s stopped", batch.pk)
    return taken
