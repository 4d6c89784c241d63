"""The list of tanks as a table."""

from __future__ import annotations

import django_tables2 as tables

from plant.pages.tables import NUM, ListTable


class TankTable(ListTable):
    SORTS = {
        "name": ("site_id", "name_key"),
        "capacity": ("capacity_m3",),
        "height": ("inside_height_m",),
    }
    row_template = "plant/tanks/_tank_row.html"

    name = tables.Column("Tank")
    product = tables.Column("Product", orderable=False)
    shape = tables.Column("Shape", orderable=False)
    height = tables.Column("Inside height, m", attrs=NUM)
    capacity = tables.Column("Capacity, m³", attrs=NUM)
    points = tables.Column("Points", orderable=False, attrs=NUM)

    class Meta:
        empty_text = "No tank fits this filter."
