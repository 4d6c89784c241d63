"""The initial values of the calibration form: the procedure's points, or a record to
be corrected.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from calibration.procedures.models import ProcedureVersion
from calibration.records.models import Calibration, Reading
from plant.pages.digits import plain
from plant.points.models import MeasuringPoint
from plant.quantities import DECIMALS

STAGES = {"stands": "as it stands", "found": "as found", "left": "as left"}


def set_out(point: MeasuringPoint, version: ProcedureVersion) -> dict[str, Any]:
    """An empty page: the procedure's test points, rising and, where it says so, falling."""
    rising = [(p, "rising") for p in version.percents]
    falling = (
        [(p, "falling") for p in reversed(version.percents[:-1])] if version.up_and_down else []
    )
    rows = [
        {"applied": _applied(point, percent), "way_up": way_up, "run": 1}
        for percent, way_up in [*rising, *falling]
    ]
    stands = [{"applied": "", "way_up": "rising", "run": 1}]
    return {
        "head": {"way": version.way},
        "stands": stands,
        "found": rows,
        "left": rows,
        "adjusted": {},
    }


def _applied(point: MeasuringPoint, percent: Decimal) -> str:
    """The value at that share of the span, in digits that a tape or glass can show."""
    value = point.lower + (point.upper - point.lower) * percent / 100
    return f"{value:.{DECIMALS[point.unit]}f}"


def filled_from(record: Calibration) -> dict[str, Any]:
    """A page filled with what a record holds, to be corrected."""
    readings = list(record.readings.all())
    head = {
        "done_on": record.done_on,
        "way": record.way,
        "ambient_c": plain(record.ambient_c),
        "product_c": plain(record.product_c),
        "standards": [use.standard_id for use in record.standards_used.all()],
        "no_as_found_reason": record.no_as_found_reason,
        "note": record.note,
    }
    rows = {key: [_row(r) for r in readings if r.stage == stage] for key, stage in STAGES.items()}
    rows["stands"] = rows["stands"] or [{}]
    rows["left"] = rows["left"] or [
        row | {"observed": "", "indication": ""} for row in rows["found"]
    ]
    adjusted = {
        a.kind: {"done": True, "before": plain(a.before), "after": plain(a.after), "note": a.note}
        for a in record.adjustments.all()
    }
    return {"head": head, "adjusted": adjusted, **rows}


def _row(reading: Reading) -> dict[str, Any]:
    return {
        "applied": plain(reading.applied),
        "observed": plain(reading.observed),
        "indication": plain(reading.observed_indication),
        "no_level_reason": reading.no_level_reason,
        "way_up": "rising" if reading.rising else "falling",
        "run": reading.run,
    }
