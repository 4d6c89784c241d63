"""What a job is done with: the transmitter installed, the procedure to follow."""

from __future__ import annotations

from calibration.procedures.choice import fitting, newest_of
from calibration.procedures.models import ProcedureVersion
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation, Transmitter


def transmitter_at(point: MeasuringPoint) -> Transmitter | None:
    present = (
        Installation.objects.filter(point=point, removed_on=None)
        .select_related("transmitter")
        .first()
    )
    return present.transmitter if present else None


def versions_for(
    point: MeasuringPoint, transmitter: Transmitter | None, *, asked: str = ""
) -> tuple[ProcedureVersion | None, list[ProcedureVersion]]:
    """The version to follow, and the newest of each procedure to choose from.

    Asked for by number (also one that is no longer the newest: a page may have been open for days),
    else the point's own procedure, else the one that suits the transmitter's principle best.
    """
    published = ProcedureVersion.objects.exclude(published_on=None).select_related("procedure")
    every = list(published.order_by("procedure__name", "-number"))
    newest = newest_of(every)
    choices = [
        *(v for v in every if str(v.pk) == asked),
        *fitting(newest, point, transmitter),
        *newest,
    ]
    return (choices[0] if choices else None), newest
