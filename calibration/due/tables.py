"""The columns of the due list."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import django_tables2 as tables


class DueTable(tables.Table):
    """The columns, in order. The rows are drawn by the page's own template: fifty cells a time cost
    too much.
    """

    tag = tables.Column("Tag", order_by="tag")
    tank = tables.Column("Tank", orderable=False)
    status = tables.Column("Status", order_by="status")
    job = tables.Column("Job", orderable=False)
    run = tables.Column("Interval run", orderable=False)
    result = tables.Column("Last result, % of span", orderable=False)
    drift = tables.Column("Drift, % a year", orderable=False)
    hours = tables.Column("Work, h", orderable=False, attrs={"th": {"class": "num"}})


class Column(NamedTuple):
    text: str
    order: str
    is_number: bool


@cache
def columns() -> list[Column]:
    """DueTable's columns, taken out of it once: they are the same for every request."""
    return [
        Column(
            text=str(column.header),
            order=column.order_by[0].bare if column.orderable else "",
            is_number="num" in (column.attrs["th"].get("class") or "").split(),
        )
        for column in DueTable([]).columns
    ]
