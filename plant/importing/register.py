"""The register's file against the register: staged by COPY, checked, compared and written set by
set in SQL.

An empty cell or a missing column changes nothing: what the register holds stays, and a new row
takes the usual value. The range of each row is judged inside its tank as the register has it.
"""

from __future__ import annotations

import datetime as dt
import json
from collections import defaultdict
from collections.abc import Callable, Collection
from decimal import Decimal
from typing import Any

from django.db import connection

from plant.importing import register_sql as sql
from plant.importing.columns import Parsed, Problem
from plant.importing.importer import SHOWN, Change, Context, Importer, Outcome
from plant.importing.register_columns import OF_TRANSMITTER, REGISTER
from plant.importing.rows import value_text
from plant.importing.staging import stage
from plant.naming import natural_key
from plant.parsers import nearest, one_of
from plant.points.geometry import refuse_range_outside
from plant.points.models import MeasuringPoint
from plant.points.procedures import choices
from plant.quantities import day_text
from plant.refusals import Refused
from plant.sites.models import Site
from plant.tanks.models import Tank
from plant.transmitters.models import Installation, Transmitter

Calibrated = Callable[[Collection[int]], Collection[int]]
"""Of these points, those with records: their due dates follow from them, and no file moves them."""

MOST_DETAILED = 500
"""As many rows with a range outside their tank are refused with the tank's own figures; the rest
more briefly.
"""


def register_importer(calibrated: Calibrated) -> Importer:
    """How a register's file is taken. The records that ``calibrated`` asks for belong to another
    part of the register.
    """

    def check_all(parsed: Parsed, context: Context) -> Outcome:
        _check_rows(parsed, context.today)
        _stage(parsed, context)
        _check_against_register(parsed, context.site)
        _keep_schedules(parsed, calibrated)
        return Outcome() if parsed.problems else _compare(parsed)

    return Importer(REGISTER, check_all, _write)


# ---- the rows by themselves ----
def _check_rows(parsed: Parsed, today: dt.date) -> None:
    lower, upper = parsed.column("lower_unit"), parsed.column("upper_unit")
    if lower != upper:
        units = zip(lower, upper, strict=True)
        reason = "must be in the unit of the LRV"
        parsed.refuse_where("upper", reason, (a != b and None not in (a, b) for a, b in units))
    for name, what in (("last_calibrated", "calibrated"), ("installed_on", "installed")):
        reason = f"lies in the future; it was {what} on a day that is past"
        parsed.refuse_values(name, reason, lambda day: day > today)
    known = [key for key, _ in choices()]
    if known:
        reason = f"is no procedure here; write {one_of(known)}"
        parsed.refuse_values("procedure_key", reason, lambda key: key not in known)
    _check_devices(parsed)


def _check_devices(parsed: Parsed) -> None:
    serials = parsed.column("serial")
    for name in OF_TRANSMITTER if "serial" not in parsed.full else ():
        if parsed.given(name):
            pairs = zip(serials, parsed.column(name), strict=True)
            reason = "belongs to a transmitter, but the row has no serial number"
            parsed.refuse_where(name, reason, (s is None and v is not None for s, v in pairs))
    devices = list(zip(serials, parsed.column("maker"), strict=True))
    if len(set(devices)) == len(devices):
        return
    first: dict[tuple, int] = {}
    for place, device in enumerate(devices):
        if device[0] is None:
            continue
        earlier = first.setdefault(device, place)
        if earlier != place:
            reason = (
                f"is in row {parsed.rows[earlier]} already; a transmitter is installed at one "
                "measuring point"
            )
            parsed.refuse(place, "serial", reason)


def _stage(parsed: Parsed, context: Context) -> None:
    count = len(parsed.rows)
    columns: dict[str, Any] = {"place": range(count), **parsed.values}
    columns["unit"] = parsed.column("lower_unit")
    columns["maker"] = _makers(parsed, context.site)
    if context.writes:
        columns["tag_key"] = [tag and natural_key(tag) for tag in parsed.column("tag")]
    stage("staged_register", sql.STAGED, columns)
    parameters: dict[str, Any] = {"site": context.site.pk, "today": context.today}
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS pg_temp.checked_register")
        cursor.execute(sql.checked(numbers_new=context.writes), parameters)


class _Makers:
    """Who made the site's transmitters of these serial numbers, by serial number and by tag."""

    def __init__(self, site: Site, serials: Collection[str]) -> None:
        self.of_serial: dict[str, list[str]] = defaultdict(list)
        devices = Transmitter.objects.filter(site=site, serial__in=serials).order_by("maker")
        for serial, maker in devices.values_list("serial", "maker"):
            self.of_serial[serial].append(maker)
        ambiguous = [serial for serial, makers in self.of_serial.items() if len(makers) > 1]
        rows = Installation.objects.filter(
            removed_on=None, site=site, transmitter__serial__in=ambiguous
        ).values_list("point__tag", "transmitter__serial", "transmitter__maker")
        self.at_tag = {(tag, serial): maker for tag, serial, maker in rows}

    def of(self, tag: str | None, serial: str) -> str | None:
        """The only maker there is, else that of the one installed at the tag, else none; None where
        that leaves a choice.
        """
        makers = self.of_serial.get(serial, [""])
        if len(makers) == 1:
            return makers[0]
        return self.at_tag.get((tag or "", serial), "" if "" in makers else None)


def _makers(parsed: Parsed, site: Site) -> list[str | None]:
    """The maker of each row's transmitter, looked up where the file names none."""
    serials, makers = parsed.column("serial"), parsed.column("maker")
    without = {
        s for s, maker in zip(serials, makers, strict=True) if s is not None and maker is None
    }
    if not without:
        return makers
    known = _Makers(site, without)
    completed = list(makers)
    for place, (tag, serial) in enumerate(zip(parsed.column("tag"), serials, strict=True)):
        if serial is None or completed[place] is not None:
            continue
        maker = known.of(tag, serial)
        completed[place] = maker or ""
        if maker is None:
            choice = one_of(known.of_serial[serial])
            reason = f"is missing: {choice} made a transmitter with this serial number"
            parsed.refuse(place, "maker", reason)
    return completed


# ---- against the register ----
def _check_against_register(parsed: Parsed, site: Site) -> None:
    _refuse_unknown_tanks(parsed, site)
    with connection.cursor() as cursor:
        cursor.execute(sql.BROKEN_RULES)
        for place, name, reason in cursor.fetchall():
            parsed.refuse(place, name, reason)
        cursor.execute(sql.OUTSIDE_TANK)
        outside = cursor.fetchall()
    _refuse_ranges(parsed, outside)


def _refuse_unknown_tanks(parsed: Parsed, site: Site) -> None:
    known = set(Tank.objects.filter(site=site).values_list("name", flat=True))
    tanks = parsed.column("tank")
    unknown = {tank: nearest(tank, known) for tank in set(tanks) - known - {None}}
    for place, tank in enumerate(tanks):
        if tank in unknown:
            reason = f"is no tank of this site{unknown[tank]}. Import or add the tank first"
            parsed.refuse(place, "tank", reason)


def _refuse_ranges(parsed: Parsed, outside: list[tuple]) -> None:
    tanks = Tank.objects.in_bulk({row[1] for row in outside[:MOST_DETAILED]})
    for place, tank_id, quantity, unit, lower, upper in outside[:MOST_DETAILED]:
        point = MeasuringPoint(
            tank=tanks[tank_id], quantity=quantity, unit=unit, lower=lower, upper=upper
        )
        try:
            refuse_range_outside(point)
        except Refused as refusal:
            parsed.refuse(place, refusal.field or "upper", str(refusal))
    for place, *_ in outside[MOST_DETAILED:]:
        parsed.refuse(place, "upper", "lies, or its LRV does, outside the tank")


def _keep_schedules(parsed: Parsed, calibrated: Calibrated) -> None:
    """A due date that follows from records, or that a deferral has put off, is not moved by a file;
    it is warned of.
    """
    with connection.cursor() as cursor:
        cursor.execute(sql.MOVED_DUE_DATES)
        moved = cursor.fetchall()
        settled = set(calibrated([point_id for _, point_id, *_ in moved])) if moved else set()
        kept = [row for row in moved if row[1] in settled or row[3]]
        if kept:
            cursor.execute(sql.KEEP_SCHEDULE, {"places": [place for place, *_ in kept]})
    due = parsed.column("due")
    for place, point_id, due_on, deferred_until in kept:
        heading, cell = parsed.cell(place, "due" if due[place] else "last_calibrated")
        why = (
            "follows from its records"
            if point_id in settled
            else f"is deferred until {deferred_until}"
        )
        reason = f"the due date stays at {day_text(due_on)}: it {why}"
        parsed.warnings.append(Problem(parsed.rows[place], heading, cell, reason))


def _compare(parsed: Parsed) -> Outcome:
    outcome = Outcome()
    with connection.cursor() as cursor:
        cursor.execute(sql.COUNTS)
        outcome.new, outcome.changed, outcome.same, outcome.plan = cursor.fetchone()
        if outcome.new:
            cursor.execute(sql.NEW_ROWS, {"shown": SHOWN // 2 if outcome.changed else SHOWN})
            outcome.shown += [_new(parsed, *row) for row in cursor.fetchall()]
        if outcome.changed:
            cursor.execute(sql.CHANGED_ROWS, {"shown": SHOWN - len(outcome.shown)})
            outcome.shown += [_changed(parsed, *row) for row in cursor.fetchall()]
    return outcome


def _new(
    parsed: Parsed, place: int, tag: str, tank: str, span: str, due_on: dt.date, serial: str | None
) -> Change:
    what = {"tank": tank, "range": span, "due": due_on.isoformat(), "serial": serial or ""}
    return Change(
        parsed.rows[place], tag, True, {name: ["", value] for name, value in what.items()}
    )


def _changed(parsed: Parsed, place: int, tag: str, *stored: str | None) -> Change:
    """``stored``: the row as it would be, the point and the transmitter as they are, in JSON."""
    row, point, device = (json.loads(text or "{}", parse_float=Decimal) for text in stored)
    what = _differences(row, point, (*sql.POINT, "due_on"))
    if row["device_changes"]:
        what |= _differences(row, device, tuple(sql.DEVICE))
    if "tank" in what:
        what["tank"] = [_tank_name(point["tank_id"]), row["tank"]]
    if row["installs"]:
        what["installed there from"] = [
            "",
            f"{row['installed_on']}: {row['maker']} {row['serial']}",
        ]
    return Change(parsed.rows[place], tag, False, what)


def _differences(now: dict, was: dict, names: tuple[str, ...]) -> dict[str, list[str]]:
    return {
        _LABELS.get(name, name): [value_text(was[name]), value_text(now[name])]
        for name in names
        if was[name] != now[name]
    }


_LABELS = {column.field: column.name for column in REGISTER.columns} | {
    "tank_id": "tank",
    "due_on": "due",
    "unit": "unit of the range",
}


def _tank_name(tank_id: int) -> str:
    return Tank.objects.values_list("name", flat=True).get(pk=tank_id)


# ---- writing ----
def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    parameters = {"site": context.site.pk}
    with connection.cursor() as cursor:
        for statement in (*sql.WRITE_NEW, *(sql.WRITE_CHANGES if outcome.plan else ())):
            cursor.execute(statement, parameters)


def changed_points() -> list[int]:
    """Points that the file just written has changed; their schedule and trend may follow."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT point_id FROM checked_register WHERE point_changes")
        return [pk for (pk,) in cursor.fetchall()]
