"""The rows of one past record as its readings, in the units of its point."""

from __future__ import annotations

from decimal import Decimal

from calibration.importing.calibration_columns import DOWN
from calibration.records.entry import ReadingEntry, ReadingWithoutLevel
from calibration.records.models import Reading
from plant.importing.columns import Parsed
from plant.level import units
from plant.level.signals import SIGNALS
from plant.points.models import MeasuringPoint

STAGES = tuple(Reading.Stage.values)
NEEDED = ("stage", "applied", "observed", "indication", "no_level_reason")
Row = ReadingEntry | ReadingWithoutLevel


def readings_of(
    parsed: Parsed, point: MeasuringPoint | None, places: list[int], *, key: str
) -> list[Row]:
    """What the rows at ``places`` say, in their order; what is wrong is refused beside its cell.

    ``key``: what the file calls the record. Without a point nothing can be read.
    """
    rows: list[Row] = []
    seen: dict[tuple[str, int, int], int] = {}
    for place in places:
        count = sum(row.stage == parsed.column("stage")[place] for row in rows)
        row = _row(parsed, point, place, count + 1)
        if row is None:
            continue
        if seen.setdefault((row.stage, row.run, row.sequence), place) != place:
            reason = f"is there twice in record {key}, {row.stage}, run {row.run}"
            parsed.refuse(place, "sequence", reason)
        rows.append(row)
    return rows


def _row(parsed: Parsed, point: MeasuringPoint | None, place: int, number: int) -> Row | None:
    _check_given(parsed, place)
    stage = parsed.column("stage")[place]
    if point is None or stage is None:
        return None
    observed = parsed.column("observed")[place]
    if observed is not None:
        _check_signal(parsed, point, place)
    indication = _in_units_of(parsed, point, place, "indication")
    if observed is None and indication is None:
        return None
    what = {
        "sequence": parsed.column("sequence")[place] or number,
        "observed": observed,
        "indication": indication,
    }
    why = parsed.column("no_level_reason")[place]
    if why:
        return ReadingWithoutLevel(why=why, **what)
    applied = _in_units_of(parsed, point, place, "applied")
    if applied is None:
        return None
    is_rising = parsed.column("direction")[place] != DOWN
    run = parsed.column("run")[place] or 1
    return ReadingEntry(stage=stage, applied=applied, rising=is_rising, run=run, **what)


def _check_given(parsed: Parsed, place: int) -> None:
    """An output or an indication; and a level, or as it stands the reason why none is known."""
    at = {name: parsed.column(name)[place] for name in NEEDED}
    if at["observed"] is None and at["indication"] is None:
        reason = "is missing; a reading has an observed output or an indication"
        parsed.refuse(place, "observed", reason)
    if at["applied"] is None and not at["no_level_reason"]:
        reason = "is missing; give the level, or as it stands the reason why none is known"
        parsed.refuse(place, "applied", reason)
    if not at["no_level_reason"]:
        return
    if at["applied"] is not None:
        parsed.refuse(place, "no_level_reason", "stands beside a level; leave one of them empty")
    elif at["stage"] not in (None, Reading.Stage.AS_IT_STANDS):
        reason = f"will do only as it stands; {at['stage']} needs its level"
        parsed.refuse(place, "no_level_reason", reason)


def _check_signal(parsed: Parsed, point: MeasuringPoint, place: int) -> None:
    unit, output = parsed.column("observed_unit")[place], SIGNALS[point.signal]
    if unit != output.unit:
        reason = f"is in {unit}, but {point.tag} has an output of {point.get_signal_display()}"
        parsed.refuse(place, "observed", reason)


def _in_units_of(parsed: Parsed, point: MeasuringPoint, place: int, name: str) -> Decimal | None:
    """A level or volume in the unit of the point's range, where it has one to five decimals
    there.
    """
    value, unit = parsed.column(name)[place], parsed.column(f"{name}_unit")[place]
    if value is None or unit == point.unit:
        return value
    is_volume = point.quantity == "volume"
    if (unit in units.VOLUME_UNITS) != is_volume:
        parsed.refuse(
            place, name, f"is in {unit}, but {point.tag} indicates {point.quantity} in {point.unit}"
        )
        return None
    to_base, from_base = (
        (units.to_cubic_metres, units.from_cubic_metres)
        if is_volume
        else (units.to_metres, units.from_metres)
    )
    converted = from_base(to_base(value, unit), point.unit)
    if converted != round(converted, 5):
        parsed.refuse(
            place,
            name,
            f"gives more than 5 decimals in {point.unit}, the unit of {point.tag}; write it in "
            "that",
        )
        return None
    return round(converted, 5)
