"""The attributes of a measuring point: its form and its columns in the register's file.

Its page shows them in sentences of its own; what has a ``line`` here is listed below those.
"""

from __future__ import annotations

from plant import parsers
from plant.columns import Attribute, Attributes
from plant.level.units import LENGTH_UNITS, VOLUME_UNITS
from plant.points.models import MeasuringPoint
from plant.quantities import number

RANGE_UNITS = ("m", *(unit for unit in (*LENGTH_UNITS, *VOLUME_UNITS) if unit != "m"))
WHERE, RANGE, TOLERANCE, CALIBRATION = "Where", "Range and output", "Tolerance", "Calibration"

POINT = Attributes(
    MeasuringPoint,
    Attribute(
        "tag", "tag", required=True, is_name=True, examples=("LT-101A", "LT-101D"), group=WHERE
    ),
    Attribute(
        "tank",
        "tank",
        parse=parsers.name(40),
        required=True,
        is_name=True,
        examples=("T-101", "T-101"),
    ),
    Attribute(
        "quantity",
        "indicates",
        examples=("level", "level"),
        usual="CASE WHEN s.unit IN ('m3', 'L') THEN 'volume' ELSE 'level' END",
        group=RANGE,
        judges=True,
    ),
    Attribute("unit", usual="NULL", group=RANGE, judges=True),
    Attribute(
        "lower",
        "LRV",
        required=True,
        units=RANGE_UNITS,
        examples=("0.3", "10.2"),
        group=RANGE,
        judges=True,
    ),
    Attribute(
        "upper",
        "URV",
        required=True,
        units=RANGE_UNITS,
        examples=("11.4", "11.6"),
        group=RANGE,
        judges=True,
    ),
    Attribute("signal", "signal", examples=("4-20mA", "4-20mA"), group=RANGE, judges=True),
    Attribute(
        "tolerance",
        "tolerance",
        required=True,
        above=0,
        examples=("4", "1"),
        group=TOLERANCE,
        judges=True,
    ),
    Attribute(
        "tolerance_down",
        "tolerance downward",
        above=0,
        usual="NULL",
        examples=("", "2"),
        group=TOLERANCE,
        judges=True,
    ),
    Attribute(
        "tolerance_sides",
        "tolerance sides",
        examples=("both", "both"),
        group=TOLERANCE,
        judges=True,
    ),
    Attribute(
        "tolerance_unit", "tolerance unit", examples=("mm", "%"), group=TOLERANCE, judges=True
    ),
    Attribute(
        "adjust_limit",
        "adjust limit",
        least=0,
        examples=("2", "0.5"),
        usual="round(least(s.tolerance, s.tolerance_down) / 2, 4)",
        group=TOLERANCE,
        judges=True,
    ),
    Attribute("duty", "duty", examples=("custody", "safety"), group=WHERE, judges=True),
    Attribute("procedure_key", "procedure", group=CALIBRATION),
    Attribute(
        "interval_months", "interval", least=1, most=120, units=("months",), examples=("3", "12")
    ),
    Attribute("grace_days", "grace", most=1800, units=("days",), examples=("7",)),
    Attribute(
        "job_hours",
        "job hours",
        above=0,
        examples=("3", "1.5"),
        label="a job takes",
        unit="h",
        group=CALIBRATION,
        line="A job takes",
        show=lambda hours: f"{number(hours, 1)} h",
    ),
    Attribute("note", "note", examples=("", "Overfill.")),
)
