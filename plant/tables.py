"""The register's lists: columns, how they sort, and the template of a row (cell by cell costs ten times as much)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import django_tables2 as tables

NUM = {"th": {"class": "num"}}


class ListTable(tables.Table):
    """A page of rows that the database has already sorted; ``SORTS`` says by which columns a heading sorts."""

    SORTS: dict[str, tuple[str, ...]] = {}
    row_template = ""

    def __init__(self, rows: Sequence[Any], *, sort: str, **more: Any) -> None:
        super().__init__(rows, **more)
        # Only for the headings: the rows of this page stay as they come.
        self._order_by = tables.utils.OrderByTuple((sort,))
        self.prefix = ""

    @classmethod
    def sort_from(cls, asked: str) -> str:
        """The sorting an address asks for, if there is such a one; else the first."""
        return (
            asked
            if asked.lstrip("-") in cls.SORTS and asked.count("-") < 2
            else next(iter(cls.SORTS))
        )

    @classmethod
    def keys(cls, sort: str) -> list[str]:
        sign = "-" if sort.startswith("-") else ""
        return [sign + name for name in cls.SORTS[sort.lstrip("-")]]


class PointTable(ListTable):
    SORTS = {
        "tag": ("site_id", "tag_key"),
        "due": ("next_due",),
        "tank": ("tank__name_key",),
        "transmitter": ("serial",),
        "duty": ("duty",),
    }
    row_template = "plant/_point_row.html"

    tag = tables.Column("Tag")
    tank = tables.Column("Tank")
    range = tables.Column("Range", orderable=False, attrs=NUM)
    tolerance = tables.Column("Tolerance", orderable=False, attrs=NUM)
    transmitter = tables.Column("Transmitter")
    duty = tables.Column("Duty")
    due = tables.Column("Due")

    class Meta:
        empty_text = "No measuring point fits this filter."


class TankTable(ListTable):
    SORTS = {
        "name": ("site_id", "name_key"),
        "capacity": ("capacity_m3",),
        "height": ("inside_height_m",),
    }
    row_template = "plant/_tank_row.html"

    name = tables.Column("Tank")
    product = tables.Column("Product", orderable=False)
    shape = tables.Column("Shape", orderable=False)
    height = tables.Column("Inside height, m", attrs=NUM)
    capacity = tables.Column("Capacity, m³", attrs=NUM)
    points = tables.Column("Points", orderable=False, attrs=NUM)

    class Meta:
        empty_text = "No tank fits this filter."


class TransmitterTable(ListTable):
    SORTS = {
        "serial": ("site_id", "serial"),
        "maker": ("maker", "model"),
        "principle": ("principle",),
    }
    row_template = "plant/_transmitter_row.html"

    serial = tables.Column("Serial number")
    maker = tables.Column("Maker and model")
    principle = tables.Column("Principle")
    wiring = tables.Column("Wiring", orderable=False)
    where = tables.Column("Where", orderable=False)

    class Meta:
        empty_text = "No transmitter fits this filter."


def with_states(points: Sequence[Any], days: dict[int, dt.date]) -> list[Any]:
    """Give each point its state of today, by its own site's calendar, and its page's address."""
    for point in points:
        point.due_state = point.state(days[point.site_id])
    return list(points)
