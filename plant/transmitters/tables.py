"""The list of transmitters as a table."""

from __future__ import annotations

import django_tables2 as tables

from plant.pages.tables import ListTable


class TransmitterTable(ListTable):
    SORTS = {
        "serial": ("site_id", "serial"),
        "maker": ("maker", "model"),
        "principle": ("principle",),
    }
    row_template = "plant/transmitters/_transmitter_row.html"

    serial = tables.Column("Serial number")
    maker = tables.Column("Maker and model")
    principle = tables.Column("Principle")
    wiring = tables.Column("Wiring", orderable=False)
    where = tables.Column("Where", orderable=False)

    class Meta:
        empty_text = "No transmitter fits this filter."
