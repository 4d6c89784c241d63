from __future__ import annotations

import django_tables2 as tables

from plant.pages.tables import ListTable


class LedgerTable(ListTable):
    """Newest first, as the entries were written; no other order means anything."""

    row_template = "calibration/history/_ledger_row.html"

    at = tables.Column("When", orderable=False)
    person = tables.Column("Who", orderable=False)
    act = tables.Column("Act", orderable=False)
    subject = tables.Column("On", orderable=False)
    why = tables.Column("Why", orderable=False)

    class Meta:
        template_name = "spanbook_table.html"
        empty_text = "No entry fits this filter."
        attrs = {"aria_label": "Ledger"}
