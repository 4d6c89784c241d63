"""What the register's export writes, its import reads back without a change."""

from __future__ import annotations

import datetime as dt
import string
from decimal import Decimal

import pytest
from django.db.models import FilteredRelation, Q
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plant.importing.export import csv_lines, xlsx_chunks
from plant.ledger.models import RowHistory
from plant.points.models import MeasuringPoint
from tests.files import reasons, send
from tests.makers import TODAY, a_point, a_tank, a_transmitter, an_installation

pytestmark = pytest.mark.django_db

NAMES = (
    st.text(string.ascii_letters + string.digits + "-=+@'. éß;,\"", min_size=1, max_size=20)
    .map(str.strip)
    .filter(bool)
)
NOTES = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=40).map(
    str.strip
)
LEVELS = st.decimals(0, 12, places=5)


@st.composite
def points(draw):
    lower, upper = draw(st.lists(LEVELS, min_size=2, max_size=2, unique=True))
    tolerance = draw(st.decimals(Decimal("0.0002"), 20, places=4))
    sides = draw(st.sampled_from(MeasuringPoint.Sides.values))
    down = draw(st.none() | st.decimals(tolerance, 40, places=4)) if sides == "both" else None
    months = draw(st.integers(1, 120))
    unit = draw(st.sampled_from(MeasuringPoint.Unit.values))
    volume = unit in ("m3", "L")
    return {
        "unit": unit,
        "quantity": "volume" if volume else "level",
        "lower": lower,
        "upper": upper,
        "tolerance": tolerance,
        "tolerance_down": down,
        "tolerance_sides": sides,
        "adjust_limit": draw(st.decimals(0, tolerance, places=4)),
        "tolerance_unit": draw(st.sampled_from(["%", "mA"] if volume else ["%", "mm", "mA"])),
        "duty": draw(st.sampled_from(MeasuringPoint.Duty.values)),
        "interval_months": months,
        "grace_days": draw(st.integers(0, min(15 * months, 365))),
        "job_hours": draw(st.decimals(Decimal("0.1"), 99, places=1)),
        "note": draw(NOTES),
        "due_on": draw(st.dates(dt.date(2020, 1, 1), dt.date(2035, 1, 1))),
    }


@given(
    tags=st.lists(NAMES, min_size=1, max_size=4, unique=True),
    serials=st.lists(NAMES, min_size=4, max_size=4, unique=True),
    maker=NAMES | st.just(""),
    values=st.lists(points(), min_size=4, max_size=4),
    as_workbook=st.booleans(),
)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_importing_its_own_export_changes_nothing(
    site, planner, tags, serials, maker, values, as_workbook
):
    tank = site.tanks.first() or a_tank()
    for tag, serial, fact in zip(tags, serials, values, strict=False):
        if MeasuringPoint.objects.filter(tag=tag).exists() or tag[0] in "=@":
            continue
        point = a_point(tag, tank, **fact)
        if (
            not site.transmitters.filter(serial=serial, maker=maker).exists()
            and serial[0] not in "=@"
        ):
            an_installation(point, a_transmitter(serial, maker=maker))
    exported = MeasuringPoint.objects.annotate(
        present=FilteredRelation("installations", condition=Q(installations__removed_on=None))
    )
    count, history = exported.count(), RowHistory.objects.count()
    if not count:
        return
    parts = xlsx_chunks(exported, on=TODAY) if as_workbook else csv_lines(exported, on=TODAY)
    data = b"".join(parts) if as_workbook else "".join(parts)
    batch = send(data, by=planner)
    assert reasons(batch) == []
    assert (batch.rows_new, batch.rows_changed, batch.rows_same) == (0, 0, count), batch.report
    assert RowHistory.objects.count() == history
