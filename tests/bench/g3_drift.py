"""G3d: one instrument after a submission: read its history again, fit it, store its trend."""

from __future__ import annotations

import datetime as dt
import uuid

import numpy as np
from django.db import connection, transaction

from calibration.drift import trends
from calibration.records.models import Calibration
from plant.transmitters.models import Installation
from tests.bench.fleet import empty
from tests.bench.pairs import Row, compare
from tests.makers import an_equipped_point

VISITS = 10
READ = """
    SELECT done_on, found_at_span, left_at_span FROM calibration_calibration
    WHERE point_id = %s AND state = 'approved' ORDER BY done_on
"""
STORE = "UPDATE calibration_trend SET span_rate = %s, span_rate_high = %s WHERE point_id = %s"


def run(scale: int | None) -> list[Row]:
    points = min(scale or 50, 2000)
    made = [_history(f"LT-{n}") for n in range(points)]
    with transaction.atomic():
        trends.refit(made)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    turn = {"floor": 0, "product": 0}

    def floor() -> None:
        turn["floor"] += 1
        with transaction.atomic():
            _plain_line(made[turn["floor"] % points])

    def product() -> None:
        turn["product"] += 1
        with transaction.atomic():
            trends.refit([made[turn["product"] % points]])

    rows = [
        compare(
            "G3d",
            f"one instrument of {VISITS} results: reread, refit, store",
            rows=points,
            floor=floor,
            product=product,
            at_most=5,
            pairs=200,
            warm=20,
        )
    ]
    empty()
    return rows


def _plain_line(point_id: int) -> None:
    """The floor: raw SQL, one least-squares line, one UPDATE."""
    with connection.cursor() as cursor:
        cursor.execute(READ, [point_id])
        rows = cursor.fetchall()
        x = np.array([(day - rows[0][0]).days / 365.25 for day, _, _ in rows])
        y = np.array([found for _, found, _ in rows])
        dx = x - x.mean()
        slope = float(dx @ (y - y.mean()) / (dx @ dx))
        rest = y - y.mean() - slope * dx
        error = float(np.sqrt(rest @ rest / (len(x) - 2) / (dx @ dx)))
        cursor.execute(STORE, [slope, error, point_id])


def _history(tag: str) -> int:
    point = an_equipped_point(tag)
    device = Installation.objects.get(point=point).transmitter
    rng = np.random.default_rng(len(tag))
    Calibration.objects.bulk_create(
        Calibration(
            site=point.site, point=point, transmitter=device, source="imported", state="approved",
            submission=uuid.uuid4(), content_sha256="0" * 64, submitted_at=dt.datetime(2026, 11, 2, tzinfo=dt.UTC),
            done_on=dt.date(2016 + n, 6, 1), performed_by_name="T. Quillane", way="wetted level by dip",
            tag=tag, tank_name="T-101", serial=device.serial, quantity="level", unit="m", lower=0, upper=8,
            signal="4-20mA", tolerance=1, tolerance_unit="%", tolerance_percent=1.0, adjust_limit_percent=0.5,
            found_at_zero=0.05 * n + rng.normal(0, 0.03), left_at_zero=0.05 * n,
            found_at_span=0.08 * n + rng.normal(0, 0.03), left_at_span=0.08 * n,
            found_verdict="pass", left_verdict="pass",
            approved_by_name="S. Fenharrow", approved_at=dt.datetime(2026, 11, 2, tzinfo=dt.UTC),
        )
        for n in range(VISITS)
    )  # fmt: skip
    return point.pk
