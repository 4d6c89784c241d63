"""What every page about one record shows; each part read once."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef
from django.db.models.functions import JSONObject
from django.shortcuts import get_object_or_404

from calibration.records.budget_page import budget_of, guard_of
from calibration.records.charts import error_curve
from calibration.records.failures import stood_of
from calibration.records.figures import (
    base_unit_of,
    figure_rows,
    figures_unit_of,
    share_of_span,
    units_of,
)
from calibration.records.models import Calibration, Reading
from calibration.records.patterns import hints_of
from calibration.tablet.models import FieldPhoto
from calibration.tablet.set_aside_views import clock_text, placed
from plant.level.signals import SIGNALS
from plant.people.models import Person
from plant.points.models import MeasuringPoint

WITH_ALL = (
    "site",
    "point__tank",
    "transmitter",
    "job",
    "procedure_version__procedure",
    "amends",
    "finding",
    "returned_by",
    "field_work",
)


def record_seen_by(person: Person, pk: int) -> Calibration:
    """With all that its pages show; 404 where the person may not see its site."""
    photos = FieldPhoto.objects.filter(work__record=OuterRef("pk")).order_by("step", "pk")
    known = Calibration.objects.seen_by(person).select_related(*WITH_ALL)
    photo = JSONObject(step="step", sha256="sha256")
    return get_object_or_404(
        known.annotate(photos_json=ArraySubquery(photos.values(json=photo))), pk=pk
    )


def record_context(record: Calibration) -> dict[str, Any]:
    """What every page about one record shows; each part read once."""
    readings = sorted(record.readings.all(), key=_place_in_work)
    stages = [(name, list(rows)) for name, rows in groupby(readings, key=lambda r: r.stage)]
    return {
        "record": record,
        "readings": readings,
        "stages": stages,
        "has_indication": any(r.observed_indication is not None for r in readings),
        "signal": MeasuringPoint.OutputSignal(record.signal).label,
        "signal_unit": SIGNALS[record.signal].unit,
        "curve": _curve(record, readings),
        "adjustments": list(record.adjustments.all()),
        "uses": list(record.standards_used.select_related("standard", "certificate")),
        "amendments": list(record.amendments.order_by("id")),
        "uncertainty": budget_of(record),
        "figure_rows": figure_rows(record, readings),
        "units": units_of(record),
        "base": base_unit_of(record),
        "shown": figures_unit_of(record),
        "hints": hints_of(record, readings),
        "stood": stood_of(record, readings),
    } | _taken_in_the_plant(record)


def _taken_in_the_plant(record: Calibration) -> dict[str, Any]:
    """What only a record from a tablet has: its steps as taken, its photos, its clock."""
    if record.source != Calibration.Source.TABLET:
        return {}
    work = record.field_work
    by_step: dict[int, list[FieldPhoto]] = {}
    photos = [FieldPhoto(**photo) for photo in record.photos_json]  # type: ignore[attr-defined]
    for photo in placed(work, photos):
        by_step.setdefault(photo.step, []).append(photo)
    steps = list(record.steps_taken.all())
    for step in steps:
        step.photos = by_step.pop(step.number, [])  # type: ignore[attr-defined]
    return {
        "steps_taken": steps,
        "work": work,
        "clock": clock_text(work),
        "other_photos": [photo for rest in by_step.values() for photo in rest],
    }


def _place_in_work(reading: Reading) -> tuple[int, int, int]:
    return Reading.Stage.values.index(reading.stage), reading.run, reading.sequence


def _curve(record: Calibration, readings: list[Reading]) -> dict[str, Any] | None:
    def of(stage: str, rising: bool) -> list[tuple[float, float]]:
        chosen = [
            r
            for r in readings
            if r.stage == stage and r.rising == rising and "failure" not in r.band
        ]
        return [
            (share_of_span(record, r), r.error_percent)
            for r in chosen
            if r.error_percent is not None
        ]

    runs = {
        f"{name}_{word}": of(stage, rising)
        for name, stage in (("found", "as found"), ("left", "as left"))
        for word, rising in (("up", True), ("down", False))
    }
    if not any(runs.values()):
        return None
    return error_curve(**runs, tolerance=record.error_limits, guard=guard_of(record))
