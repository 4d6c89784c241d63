"""The text that a tablet signs and sends, read into what a record is made of; its keys are agreed
with the device.

A text that cannot be read is refused in words a person can act on; it was signed and is kept
whatever becomes of it.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

from calibration.procedures.models import InputWay, ProcedureStep
from calibration.records.entry import (
    AdjustmentEntry,
    ReadingEntry,
    ReadingWithoutLevel,
    RecordEntry,
    StepEntry,
)
from calibration.records.models import Adjustment, Calibration, Reading
from calibration.standards.models import ReferenceStandard
from plant.refusals import Refused

FORMAT = 1
MOST_READINGS, MOST_STEPS, MOST_PHOTOS = 200, 200, 40
DECIMALS = 5
LONGEST_NUMBER = 14


@dataclass(frozen=True)
class Photo:
    sha256: str
    step: int
    taken_at: dt.datetime | None


@dataclass(frozen=True)
class Content:
    """What was signed. ``values`` is all of it; the rest is what the server looks at itself."""

    values: Mapping[str, Any]
    job_id: int
    register_sha: str
    transmitter_id: int | None
    version_id: int
    done_on: dt.date
    pack_made_at: dt.datetime | None
    finished_at: dt.datetime | None
    photos: Sequence[Photo] = field(default=())

    @property
    def register(self) -> Mapping[str, Any]:
        held = self.values.get("register")
        return held if isinstance(held, dict) else {}


def read(text: str) -> Content:
    """The content of a work. Refused where it is no such text; figures are read by
    ``record_entry``.
    """
    try:
        values = json.loads(text)
    except (ValueError, RecursionError):
        values = None
    if not isinstance(values, dict) or values.get("format") != FORMAT:
        raise Refused("The content is not in a form that this version of Spanbook reads.")
    part = _Part(values, "the work")
    transmitter = values.get("transmitter")
    return Content(
        values=values,
        job_id=part.whole("job"),
        register_sha=part.text("register_sha", 64),
        transmitter_id=None if transmitter is None else part.whole("transmitter"),
        version_id=part.whole("procedure_version"),
        done_on=part.day("done_on"),
        pack_made_at=part.moment("pack_made_at"),
        finished_at=part.moment("finished_at"),
        photos=[
            Photo(p.text("sha256", 64), p.whole("step"), p.moment("taken_at"))
            for p in part.parts("photos", MOST_PHOTOS)
        ],
    )


def record_entry(
    content: Content, steps: Sequence[ProcedureStep], *, done_on: dt.date
) -> RecordEntry:
    """What the record is made of; ``steps`` are those of the procedure's version, whose words are
    taken from there.

    Refused where a figure cannot be read, a caution was not acknowledged, or a step is missing
    without a reason.
    """
    part = _Part(content.values, "the work")
    readings = part.parts("readings", MOST_READINGS)
    return RecordEntry(
        done_on=done_on,
        way=part.one_of("way", InputWay.values),
        procedure_version=steps[0].version,
        readings=[_reading(p) for p in readings if not _no_level_reason(p)],
        without_level=[_without_level(p) for p in readings if _no_level_reason(p)],
        standards=[ReferenceStandard(pk=pk) for pk in dict.fromkeys(part.wholes("standards"))],
        adjustments=[_adjustment(p) for p in part.parts("adjustments", MOST_READINGS)],
        ambient_c=part.number("ambient_c", decimals=1, most=5),
        product_c=part.number("product_c", decimals=1, most=5),
        no_as_found_reason=part.text("no_as_found_reason", 300),
        note=_note(part),
        source=Calibration.Source.TABLET,
        steps=_steps(part, steps),
    )


def _note(part: _Part) -> str:
    why = part.text("adjust_reason", 1000)
    because = f"Adjusted within the adjust limit, because: {why}" if why else ""
    return "\n".join(filter(None, (part.text("note", 4000), because)))


def _reading(part: _Part) -> ReadingEntry:
    origin = part.one_of("origin", Reading.Origin.values)
    is_computed = origin == Reading.Origin.COMPUTED
    applied = part.number("applied", rounded=is_computed)
    observed = part.number("observed", rounded=is_computed, most=10)
    indication = part.number("indication", rounded=is_computed)
    if applied is None or (observed is None and indication is None):
        raise Refused(f"{part.where} lacks its applied value, or what was read.")
    return ReadingEntry(
        stage=part.one_of("stage", Reading.Stage.values),
        run=part.whole("run"),
        sequence=part.whole("sequence"),
        rising=bool(part.values.get("rising", True)),
        applied=applied,
        observed=observed,
        indication=indication,
        origin=origin,
        read_at=part.moment("read_at"),
    )


def _no_level_reason(part: _Part) -> str:
    """Why no level is known; it stands in place of the applied value, as it stands only."""
    return part.text("no_level_reason", 300)


def _without_level(part: _Part) -> ReadingWithoutLevel:
    part.one_of("stage", [Reading.Stage.AS_IT_STANDS])
    observed, indication = part.number("observed", most=10), part.number("indication")
    if part.values.get("applied") is not None:
        raise Refused(f"{part.where} has a level and a reason why none is known.")
    if observed is None and indication is None:
        raise Refused(f"{part.where} lacks what was read.")
    return ReadingWithoutLevel(
        sequence=part.whole("sequence"),
        observed=observed,
        indication=indication,
        why=_no_level_reason(part),
        read_at=part.moment("read_at"),
    )


def _adjustment(part: _Part) -> AdjustmentEntry:
    return AdjustmentEntry(
        kind=part.one_of("kind", Adjustment.Kind.values),
        before=part.number("before", most=10),
        after=part.number("after", most=10),
        note=part.text("note", 200),
        adjusted_at=part.moment("at"),
    )


def _steps(part: _Part, steps: Sequence[ProcedureStep]) -> list[StepEntry]:
    taken = {p.whole("number"): p for p in part.parts("steps", MOST_STEPS)}
    return [_step(step, taken.get(step.number)) for step in steps]


def _step(step: ProcedureStep, part: _Part | None) -> StepEntry:
    part = part or _Part({}, f"step {step.number}")
    done_at = part.moment("done_at")
    why = "" if done_at else part.text("skipped_why", 300)
    if done_at is None and step.kind == ProcedureStep.Kind.CAUTION:
        raise Refused(f"The caution of step {step.number} was not acknowledged.")
    if done_at is None and not why:
        raise Refused(f"Step {step.number} was neither done nor left out with a reason.")
    answers = [
        {name: answer.text(name, 200) for name in ("label", "value", "unit")}
        for answer in part.parts("answers", MOST_STEPS)
    ]
    return StepEntry(
        number=step.number,
        key=step.key,
        kind=step.kind,
        text=step.text,
        done_at=done_at,
        answers=answers,
        note=part.text("note", 4000),
        skipped_why=why,
    )


class _Part:
    """One object of the text, read key by key; what cannot be read is refused by its name."""

    def __init__(self, values: Mapping[str, Any], where: str) -> None:
        self.values, self.where = values, where

    def _wrong(self, key: str) -> Refused:
        return Refused(f"“{key}” of {self.where} cannot be read.")

    def text(self, key: str, longest: int) -> str:
        value = self.values.get(key)
        if value is None:
            return ""
        if not isinstance(value, str) or len(value) > longest or "\x00" in value:
            raise self._wrong(key)
        return value.strip()

    def whole(self, key: str) -> int:
        value = self.values.get(key)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**31:
            raise self._wrong(key)
        return value

    def wholes(self, key: str) -> list[int]:
        values = self.values.get(key)
        if not isinstance(values, list) or len(values) > MOST_READINGS:
            raise self._wrong(key)
        return [_Part({key: value}, self.where).whole(key) for value in values]

    def one_of(self, key: str, known: Sequence[str]) -> str:
        value = self.values.get(key)
        if value not in known:
            raise self._wrong(key)
        return str(value)

    def day(self, key: str) -> dt.date:
        try:
            return dt.date.fromisoformat(self.text(key, 10))
        except ValueError:
            raise self._wrong(key) from None

    def moment(self, key: str) -> dt.datetime | None:
        """A moment with its zone, as JavaScript's toISOString writes it."""
        text = self.text(key, 40)
        if not text:
            return None
        try:
            at = dt.datetime.fromisoformat(text)
            return at.astimezone(dt.UTC) if at.tzinfo else None
        except (ValueError, OverflowError):
            raise self._wrong(key) from None

    def number(
        self,
        key: str,
        *,
        decimals: int = DECIMALS,
        most: int = LONGEST_NUMBER,
        rounded: bool = False,
    ) -> Decimal | None:
        """Digits as typed; ``rounded``: a computed one, cut to the digits that are kept."""
        text = self.text(key, 40)
        if not text:
            return None
        try:
            value = Decimal(text)
            kept = round(value, decimals)
        except (InvalidOperation, ValueError):
            raise self._wrong(key) from None
        if not value.is_finite() or abs(kept) >= 10 ** (most - decimals):
            raise self._wrong(key)
        if kept != value and not rounded:
            raise self._wrong(key)
        return kept if rounded else value

    def parts(self, key: str, most: int) -> list[_Part]:
        rows = self.values.get(key)
        if rows is None:
            return []
        if (
            not isinstance(rows, list)
            or len(rows) > most
            or not all(isinstance(r, dict) for r in rows)
        ):
            raise self._wrong(key)
        return [_Part(row, f"{key.rstrip('s')} {n}") for n, row in enumerate(rows, 1)]
