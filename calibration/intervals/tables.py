"""The columns of the list of proposals."""

from __future__ import annotations

import django_tables2 as tables

from plant.pages.tables import ListTable


class ProposalTable(ListTable):
    """Newest first, as the passes over the fleet made them."""

    row_template = "calibration/intervals/_proposal_row.html"

    tag = tables.Column("Tag", orderable=False)
    interval = tables.Column("Now → proposed, months", orderable=False)
    allowed = tables.Column("Allowed by the figures", orderable=False)
    limit = tables.Column("Limited by", orderable=False)
    chance = tables.Column("Chance at its end", orderable=False)
    due = tables.Column("Due", orderable=False)
    act = tables.Column("Decide", orderable=False)

    class Meta:
        template_name = "spanbook_table.html"
        empty_text = "No proposal fits this filter."
        attrs = {"aria_label": "Proposals"}
