"""The file of past calibrations: a row is a reading; the rows of one calibration share their
``record``.
"""

from __future__ import annotations

from calibration.procedures.models import InputWay
from calibration.records.models import Adjustment, Reading
from plant.importing import values as v
from plant.importing.columns import Column, Layout
from plant.importing.register_columns import RANGE_UNITS

UP, DOWN = "up", "down"
_celsius = v.decimal(4, 1, least=-100, most=600)
CALIBRATIONS = Layout(
    key=("record",),
    repeats=True,
    columns=(
        Column("record", "record", v.name(60), required=True, is_name=True),
        Column("tag", "tag", v.name(40), required=True, is_name=True),
        Column("serial", "serial", v.name(60), required=True, is_name=True),
        Column("day", "done_on", v.day, required=True),
        Column("performed by", "performed_by", v.name(120), required=True),
        Column("approved by", "approved_by", v.name(120), required=True),
        Column("approved on", "approved_on", v.day),
        Column("way", "way", v.word(InputWay.values), required=True),
        Column("procedure", "procedure", v.name(40)),
        Column("ambient", "ambient_c", _celsius, units=("°C",)),
        Column("product", "product_c", _celsius, units=("°C",)),
        Column("standards", "standards", v.names(40), required=True),
        Column("adjusted", "adjusted", v.words(Adjustment.Kind.values)),
        Column("stage", "stage", v.word(Reading.Stage.values), required=True),
        Column("run", "run", v.whole(1, 20)),
        Column("reading", "sequence", v.whole(1, 200)),
        Column("direction", "direction", v.word((UP, DOWN))),
        Column("applied", "applied", v.decimal(9, 5), required=True, units=RANGE_UNITS),
        Column("observed", "observed", v.decimal(5, 5), units=("mA", "V")),
        Column("indication", "indication", v.decimal(9, 5), units=RANGE_UNITS),
        Column("no as found because", "no_as_found_reason", v.text(300)),
        Column("note", "note", v.text(2000)),
    ),
    examples=tuple(
        {
            "record": "2025-0412",
            "tag": "LT-101D",
            "serial": "TW11871",
            "day": "2026-01-18",
            "performed by": "T. Quillane",
            "approved by": "S. Fenharrow",
            "approved on": "2026-01-20",
            "way": "wetted level by dip",
            "ambient": "14",
            "product": "41",
            "standards": "MM-01; DT-02",
            "stage": stage,
            "run": "1",
            "reading": reading,
            "direction": "up",
            "applied": applied,
            "observed": observed,
        }
        for stage, reading, applied, observed in (
            ("as it stands", "1", "10.9", "12.08"),
            ("as found", "1", "10.2", "4.02"),
            ("as found", "2", "11.6", "20.07"),
        )
    ),
)

OF_RECORD = (
    "tag",
    "serial",
    "done_on",
    "performed_by",
    "approved_by",
    "approved_on",
    "way",
    "procedure",
    "ambient_c",
    "product_c",
    "standards",
    "adjusted",
    "no_as_found_reason",
    "note",
)
"""One value for all rows of a record; a later row may leave what is not needed in every row
empty.
"""
