"""A work from the plant beside what the site holds, row by row, each marked where they differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from calibration.records.models import Calibration
from calibration.tablet.content import Content
from calibration.tablet.models import FieldWork
from calibration.tablet.packs import register_columns
from plant.points.models import MeasuringPoint
from plant.quantities import number, symbol
from plant.transmitters.models import Transmitter

LABELS = {
    "tag": "Tag",
    "tank_name": "Tank",
    "product_name": "Product",
    "serial": "Serial number",
    "quantity": "Indicates",
    "unit": "Unit",
    "lower": "Lower range value",
    "upper": "Upper range value",
    "signal": "Output signal",
    "tolerance": "Tolerance",
    "tolerance_down": "Tolerance downward, −",
    "tolerance_sides": "Tolerance applies",
    "tolerance_unit": "Tolerance in",
    "tolerance_percent": "Tolerance, % of span",
    "adjust_limit_percent": "Adjust beyond, ± % of span",
}


@dataclass(frozen=True)
class Pair:
    """One line: as the tablet had it and as the site has it now."""

    label: str
    tablet: str
    site: str

    @property
    def differs(self) -> bool:
        return self.tablet != self.site


@dataclass(frozen=True)
class ReadingPair:
    """One reading of both: applied, or the reason why no level is known, and output; "" where one
    of them has no such reading.
    """

    stage: str
    place: str
    tablet: tuple[str, str]
    site: tuple[str, str]

    @property
    def differs(self) -> bool:
        return self.tablet != self.site


def register_rows(
    content: Content | None, point: MeasuringPoint, now: Transmitter | None
) -> list[Pair]:
    """The register as it was fetched and as it is today."""
    held = content.register if content else {}
    today = register_columns(point, now)
    rows = [
        Pair(label, _shown(key, held), _shown(key, today))
        for key, label in LABELS.items()
        if key in held or key in today
    ]
    return sorted(rows, key=lambda row: not row.differs)  # what differs is looked for first


def job_rows(content: Content | None, work: FieldWork, now: Transmitter | None) -> list[Pair]:
    """The job as the tablet took it for, and as it is."""
    if content is None:
        return []
    job = work.job
    with_whom = str(job.technician) if job.technician else "nobody"
    return [
        # A free job becomes the one's who does it: only another technician is a difference.
        Pair("With", work.person.name, with_whom if job.technician_id else work.person.name),
        Pair("State", "open", "open" if job.state in job.OPEN else job.get_state_display()),
        Pair(
            "Transmitter", content.register.get("serial") or "none", now.serial if now else "none"
        ),
    ]


STAGES = ("as it stands", "as found", "as left")
Place = tuple[str, int, int]


def reading_rows(content: Content | None, first: Calibration | None) -> list[ReadingPair]:
    """All readings of the tablet beside those of the record that came first, where there is one."""
    tablet = {_place(r): _values(r) for r in _rows(content, "readings")}
    site = _readings_of(first) if first else {}
    nothing = ("", "")
    return [
        ReadingPair(
            place[0],
            f"{place[2]}" + (f", run {place[1]}" if place[1] > 1 else ""),
            tablet.get(place, nothing),
            site.get(place, nothing),
        )
        for place in sorted(tablet | site, key=_order)
    ]


def _readings_of(record: Calibration) -> dict[Place, tuple[str, str]]:
    readings = {}
    for reading in record.readings.all():
        is_output = reading.observed is not None
        output = reading.observed if is_output else reading.observed_indication
        place = (reading.stage, reading.run, reading.sequence)
        readings[place] = (reading.no_level_reason or _text(reading.applied), _text(output))
    return readings


def _order(place: Place) -> tuple[int, int, int]:
    stage, run, sequence = place
    return (STAGES.index(stage) if stage in STAGES else len(STAGES)), run, sequence


def step_rows(content: Content | None) -> list[dict[str, Any]]:
    """The steps as the tablet sent them: number, what kind, whether done, answers in words,
    note.
    """
    return [
        {
            "number": step.get("number"),
            "kind": step.get("kind"),
            "done": bool(step.get("done_at")),
            "why": step.get("skipped_why") or "",
            "note": step.get("note") or "",
            "answers": _answers(step),
        }
        for step in _rows(content, "steps")
    ]


def _answers(step: Mapping[str, Any]) -> list[str]:
    held = step.get("answers")
    answers: list[Any] = held if isinstance(held, list) else []
    return [
        f"{a.get('label')}: {a.get('value')} {a.get('unit') or ''}".strip()
        for a in answers
        if isinstance(a, dict)
    ]


def _shown(key: str, register: Mapping[str, Any]) -> str:
    value = register.get(key)
    if key == "signal" and value in MeasuringPoint.OutputSignal.values:
        return str(MeasuringPoint.OutputSignal(value).label)
    return _text(value)


def _rows(content: Content | None, key: str) -> list[dict[str, Any]]:
    rows = content.values.get(key) if content else None
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _place(reading: dict[str, Any]) -> Place:
    run, sequence = reading.get("run"), reading.get("sequence")
    return (
        str(reading.get("stage")),
        run if isinstance(run, int) else 0,
        sequence if isinstance(sequence, int) else 0,
    )


def _values(reading: dict[str, Any]) -> tuple[str, str]:
    observed = reading.get("observed")
    output = observed if observed is not None else reading.get("indication")
    level = str(reading.get("no_level_reason") or "").strip()
    return level or _text(_decimal(reading.get("applied"))), _text(_decimal(output))


def _decimal(value: Any) -> Any:
    try:
        return Decimal(value) if isinstance(value, str) else value
    except InvalidOperation:
        return value


def _text(value: Any) -> str:
    """As it is compared and shown: numbers without trailing noughts."""
    if value is None or value == "":
        return "–"
    if isinstance(value, float):
        return number(value, 3)
    if isinstance(value, Decimal) and value.is_finite():
        return f"{value.normalize():f}"
    return symbol(str(value))
