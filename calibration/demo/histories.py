"""Six years of calibrations of the demo's points: when, by whom, with what, what was found and left.

A calibration is told row by row as the import takes it. Where a story asks for it, something happens to a transmitter
on a day (``HAPPENINGS``), another transmitter takes its place (``SWAPS``), or a calibration goes its own way.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace

import numpy as np

from calibration.demo.laws import (
    DIP,
    PRESSURE,
    TARGET,
    WEIGHTS,
    Chance,
    Device,
    Law,
    draw_law,
    run_of,
)
from calibration.demo.scenario import (
    AS_OF,
    PEOPLE,
    QUIET,
    SHORT,
    Point,
    celsius_of,
    chance_of,
    planned_days,
)
from calibration.demo.standards import meter_gain, standards_for

DAYS_PER_YEAR = 365.25
LATE_SHARE = 0.06
LIGHTNING = AS_OF - dt.timedelta(517)
NOZZLE_WORK = AS_OF - dt.timedelta(77)


def ago(days: int) -> dt.date:
    return AS_OF - dt.timedelta(days)


# tag: (day, what it adds to zero, what it adds to span), % of span
HAPPENINGS = {
    "LT-103A": [(NOZZLE_WORK, 100 * 7 / 11100, 0.0)],
    "LT-301C": [(LIGHTNING, 0.1, 0.5)],
    "LT-311B": [(LIGHTNING, 0.1, 0.5)],
    # The electrode corrodes over months; what counts is how far it had got when somebody looked.
    "LT-321A": [(LIGHTNING, 0.1, 0.5), (ago(15), 0.0, -24.6)],
}


@dataclass(frozen=True)
class Swap:
    """Another transmitter since ``on``; it reads ``offset`` % of span higher than right from the start."""

    on: dt.date
    serial: str
    offset: float
    why: str
    goes: str


SWAPS = {
    "LT-205C": Swap(
        ago(426), "C88-2207", 0.7, "Swapped during the night of the pump failure and entered only now.", "in repair"
    ),
    "LT-331A": Swap(ago(150), "C31-4418", 0.0, "A paddle broke the probe.", "scrapped"),
}  # fmt: skip
WAITING = {"LT-102D", "LT-203C", "LT-311A"}
"""Calibrated last Friday; the record waits for its approval."""
OUTLIER = ("LT-202C", 2)
"""Its calibration so many before the last one reads 1.1 % high; the next is normal again."""
NEAR_LIMIT = "LT-131A"
DENSITY = "LT-104B"
"""Its density stands at 917 kg/m³ while the oil, at 55 °C, has 897: in service it reads 2.2 % of the level low."""


@dataclass(frozen=True)
class Row:
    """One reading. ``applied`` in the unit of the range, ``observed`` in the unit of the signal."""

    stage: str
    number: int
    rising: bool
    applied: float
    observed: float
    indication: float | None = None


@dataclass
class Visit:
    """One calibration."""

    key: str
    point: Point
    serial: str
    day: dt.date
    by: str
    approved_by: str
    approved_on: dt.date
    standards: list[str]
    ambient: float
    product: float
    rows: list[Row] = field(default_factory=list)
    adjusted: list[str] = field(default_factory=list)
    no_as_found: str = ""
    note: str = ""


@dataclass(frozen=True)
class Hung:
    """A transmitter that hung at a point, with the law put into it."""

    point: Point
    serial: str
    law: Law
    since: dt.date
    story: str


@dataclass
class History:
    """All that happened at one point."""

    hung: list[Hung]
    visits: list[Visit]


def history_of(point: Point, *, seed: int) -> History:
    """The point's six years, drawn with numbers of its own."""
    chance = chance_of(f"{point.tag} history", seed)
    days = _days(point, chance)
    installed = days[0] - dt.timedelta(int(chance.randint(20, 60)))
    hung = [Hung(point, point.serial, point.law, installed, story_of(point.tag))]
    device = Device(point.law)
    device.adjust(chance)
    swap, since, visits = SWAPS.get(point.tag), installed, []
    for number, day in enumerate(days):
        if swap and len(hung) == 1 and day >= swap.on:
            law = draw_law(point.family, chance, span_mm=1000 * abs(point.upper - point.lower))
            hung.append(Hung(point, swap.serial, law, swap.on, story_of(point.tag)))
            device, since = Device(law), swap.on
            device.adjust(chance)
            device.zero += swap.offset
        _live(device, point.tag, since, day, chance)
        since = day
        visits.append(_visit(point, hung[-1].serial, day, device, number - len(days), chance))
    if any(meter_gain(visit.standards, visit.day) != 1 for visit in visits):
        hung = [replace(one, story=one.story or "bad meter") for one in hung]
    return History(hung, visits)


def story_of(tag: str) -> str:
    """Why the plain drift law alone does not tell this point's results; empty where it does."""
    stories = {
        "LT-103A": "nozzle work", "LT-301C": "lightning", "LT-311B": "lightning", "LT-321A": "lost reference",
        "LT-205C": "swap", "LT-331A": "swap", "LT-202C": "outlier",
        "LT-131A": "near the limit", "LT-203B": "typed wrongly",
    }  # fmt: skip
    return stories.get(tag, "")


def _live(device: Device, tag: str, since: dt.date, until: dt.date, chance: Chance) -> None:
    device.age((until - since).days / DAYS_PER_YEAR, chance)
    for day, zero, span in HAPPENINGS.get(tag, ()):
        if since < day <= until:
            device.zero += zero
            device.span += span


def _days(point: Point, chance: Chance) -> list[dt.date]:
    """When it was done: mostly in the three weeks before the due date, 6 % late by 5 to 40 days."""
    due = planned_days(point)
    due = due[-2:] if point.tag in SHORT else due
    done = [due[0] if point.tag in _EXACT else _weekday(due[0])]
    for day in due[1:]:
        if chance.uniform() < LATE_SHARE:
            shift = int(chance.randint(5, 41 if point.months > 3 else 14))
        else:
            shift = -int(chance.randint(0, 21 if point.months > 3 else 10))
        exact = point.tag in _EXACT
        done.append(day if exact else _weekday(day + dt.timedelta(shift)))
    if point.tag in WAITING:
        done.append(ago(3))
    return [day for day in done if day < AS_OF]


_EXACT = {*SWAPS, *HAPPENINGS, "LT-131A", "LT-203B", "LT-202C", "LT-121C", "LT-122C", "LT-104B"}


def _weekday(day: dt.date) -> dt.date:
    return day - dt.timedelta(max(0, day.weekday() - 4))


# ---- one calibration ----
def _visit(
    point: Point, serial: str, day: dt.date, device: Device, place: int, chance: Chance
) -> Visit:
    by, approved_by = _people(point.site, chance)
    visit = Visit(
        key=f"{point.tag} {day.isoformat()}",
        point=point,
        serial=serial,
        day=day,
        by=by,
        approved_by=approved_by,
        approved_on=min(_weekday(day + dt.timedelta(int(chance.randint(1, 5)))), AS_OF),
        standards=standards_for(point.site, KINDS[point.of.way], day, chance),
        ambient=round(float(12 + 8 * np.sin((day.timetuple().tm_yday - 110) / 58) + chance.normal(0, 2)), 1),
        product=round(float(celsius_of(point.tank) + chance.normal(0, 1.5)), 1),
    )  # fmt: skip
    visit.approved_on = max(visit.approved_on, day)
    probe_broken = point.tag == "LT-331A" and day == SWAPS["LT-331A"].on
    outlier = point.tag == OUTLIER[0] and place == -OUTLIER[1] - 1
    reader = replace(device, zero=device.zero + 1.1) if outlier else device
    found = [] if probe_broken else _run(visit, reader, "as found", chance)
    errors = np.array([_error(row, point) for row in found])
    if not probe_broken:
        visit.rows += [_as_it_stands(visit, reader, chance), *found]
    if probe_broken:
        visit.no_as_found = "The probe was broken off by a paddle; there was nothing left to read."
        visit.note = "New transmitter set up on the pan; probe photographed."
        visit.adjusted = ["zero", "span"]
        device.adjust(chance)
        visit.rows += _run(visit, device, "as left", chance)
    elif outlier:
        visit.note = (
            "Reads high throughout. Tape and cut looked right; nothing moved, to be watched."
        )
    elif np.abs(errors).max() > _in_percent(point, point.adjust_limit) and not _lost_reference(
        visit
    ):
        visit.adjusted = ["zero"] if point.is_custody else ["zero", "span"]
        device.adjust(chance)
        visit.rows += _run(visit, device, "as left", chance)
    if _lost_reference(visit):
        visit.note = "Falls short in proportion to the level and moves with the rain: electrode corroded. Stopped."
    return visit


def _lost_reference(visit: Visit) -> bool:
    return visit.point.tag == "LT-321A" and visit.day > ago(60)


KINDS = {
    DIP: ("multimeter", "dip tape"),
    PRESSURE: ("multimeter", "pressure calibrator"),
    TARGET: ("multimeter", "laser or steel tape"),
    WEIGHTS: ("multimeter", "weights"),
    "float moved along its rod": ("multimeter", "laser or steel tape"),
}


def _people(site: str, chance: Chance) -> tuple[str, str]:
    here = [(name, role) for _, name, role, sites in PEOPLE if site in sites.split()]
    technicians = [name for name, role in here if role == "technician"]
    approver = next(name for name, role in here if role == "approver")
    return technicians[chance.randint(len(technicians))], approver


def _run(visit: Visit, device: Device, stage: str, chance: Chance) -> list[Row]:
    point = visit.point
    percents, rising = run_of(point.of.percents, point.of.up_and_down)
    if point.is_custody:
        percents = percents + chance.uniform(-1.5, 1.5, percents.size)
    errors = device.errors(percents, rising, chance)
    if point.tag == NEAR_LIMIT and stage == "as found" and visit.day > ago(30):
        errors = errors + (0.24 - errors[np.abs(errors).argmax()])
    if point.tag == QUIET and stage == "as found" and visit.day > NOZZLE_WORK:
        errors = errors + (100 * 6.8 / 11100 - errors.max())
    return [
        _row(visit, stage, n, float(p), bool(up), float(error), chance)
        for n, (p, up, error) in enumerate(zip(percents, rising, errors, strict=True), 1)
    ]


def _as_it_stands(visit: Visit, device: Device, chance: Chance) -> Row:
    point = visit.point
    percents, rising = np.array([float(chance.uniform(35, 75))]), np.array([True])
    error = float(device.errors(percents, rising, chance)[0])
    if point.tag == DENSITY and visit.day > ago(800):
        error -= 0.022 * percents[0]
        visit.note = (
            "Pressures right at all points, yet the level in service stands lower than the dip."
        )
    return _row(visit, "as it stands", 1, float(percents[0]), True, error, chance)


SIGNALS = {"4-20mA": (4.0, 20.0), "1-5V": (1.0, 5.0), "0-10V": (0.0, 10.0)}


def _row(
    visit: Visit, stage: str, number: int, percent: float, rising: bool, error: float, chance: Chance
) -> Row:  # fmt: skip
    """A reading with its digits: applied to the mm (or 10 litres), current to 0.001 mA, voltage to 0.1 mV at 1–5 V."""
    point = visit.point
    low, high = SIGNALS[point.signal]
    span = point.upper - point.lower
    applied = round(point.lower + span * percent / 100, 2 if point.unit == "m3" else 3)
    true = 100 * (applied - point.lower) / span
    observed = (low + (high - low) * (true + error) / 100) * meter_gain(visit.standards, visit.day)
    if not point.is_custody:
        return Row(
            stage,
            number,
            rising,
            applied,
            round(observed, 3 if point.signal.endswith("mA") else 4),
        )
    # The loop has an error of its own; the display is what custody is judged by.
    loop = round(observed + float(chance.normal(0, 0.002)), 3)
    return Row(stage, number, rising, applied, loop, round(applied + span * error / 100, 4))


def _error(row: Row, point: Point) -> float:
    """The error in % of span that the row shows."""
    low, high = SIGNALS[point.signal]
    span = point.upper - point.lower
    if row.indication is not None:
        return 100 * (row.indication - row.applied) / abs(span)
    expected = low + (high - low) * (row.applied - point.lower) / span
    return 100 * (row.observed - expected) / (high - low)


def _in_percent(point: Point, limit: float) -> float:
    return limit / (10 * abs(point.upper - point.lower)) if point.is_custody else limit
