"""The register as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import django_tables2 as tables

from plant.pages.tables import NUM, ListTable


class PointTable(ListTable):
    SORTS = {
        "tag": ("site_id", "tag_key"),
        "due": ("next_due",),
        "tank": ("tank__name_key",),
        "transmitter": ("serial",),
        "duty": ("duty",),
    }
    row_template = "plant/points/_point_row.html"

    tag = tables.Column("Tag")
    tank = tables.Column("Tank")
    range = tables.Column("Range", orderable=False, attrs=NUM)
    tolerance = tables.Column("Tolerance", orderable=False, attrs=NUM)
    transmitter = tables.Column("Transmitter")
    duty = tables.Column("Duty")
    due = tables.Column("Due")

    class Meta:
        empty_text = "No measuring point fits this filter."


def with_states(points: Sequence[Any], days: dict[int, dt.date]) -> list[Any]:
    """Give each point its state of today, by its own site's calendar, and its page's address."""
    for point in points:
        point.status_now = point.status(days[point.site_id])
    return list(points)
