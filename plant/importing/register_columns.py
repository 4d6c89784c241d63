"""The register's file: a row is a measuring point with the transmitter that is installed there."""

from __future__ import annotations

from plant import parsers
from plant.columns import Column
from plant.importing.columns import Layout
from plant.points.columns import POINT
from plant.transmitters.columns import TRANSMITTER

LAST_CALIBRATED = Column(
    "last calibrated", "last_calibrated", parsers.day, examples=("2026-09-14",)
)
DUE = Column("due", "due", parsers.day, examples=("", "2027-01-18"))
INSTALLED = Column("installed", "installed_on", parsers.day, examples=("2020-03-02", "2021-06-07"))
ONLY_SHOWN = ("status", "status day", "reasons")
"""What the book derives, in the file that goes out; passed over when it comes in again."""
REGISTER = Layout(
    key=("tag",),
    only_shown=ONLY_SHOWN,
    columns=(
        *POINT.columns(but=("note",)),
        LAST_CALIBRATED,
        DUE,
        *TRANSMITTER.columns(),
        INSTALLED,
        POINT.column("note"),
    ),
)

OF_TRANSMITTER = tuple(
    column.field for column in (*TRANSMITTER.columns(but=("serial",)), INSTALLED)
)
"""They say something of a transmitter, so they need its serial number."""
