"""The register's file: a row is a measuring point with the transmitter that hangs there."""

from __future__ import annotations

from plant.importing import values as v
from plant.importing.columns import Column, Layout
from plant.level.signals import SIGNALS
from plant.level.units import LENGTH_UNITS, VOLUME_UNITS
from plant.points.models import MeasuringPoint
from plant.transmitters.models import Principle, Transmitter

RANGE_UNITS = ("m", *(unit for unit in (*LENGTH_UNITS, *VOLUME_UNITS) if unit != "m"))
Point = MeasuringPoint

REGISTER = Layout(
    key=("tag",),
    columns=(
        Column("tag", "tag", v.name(40), required=True, is_name=True),
        Column("tank", "tank", v.name(40), required=True, is_name=True),
        Column("indicates", "quantity", v.word(Point.Quantity.values)),
        Column("LRV", "lower", v.decimal(9, 5), required=True, units=RANGE_UNITS),
        Column("URV", "upper", v.decimal(9, 5), required=True, units=RANGE_UNITS),
        Column("signal", "signal", v.word(SIGNALS)),
        Column("tolerance", "tolerance", v.decimal(6, 4, above=0), required=True),
        Column("tolerance unit", "tolerance_unit", v.word(Point.ToleranceUnit.values)),
        Column("adjust limit", "adjust_limit", v.decimal(6, 4, least=0)),
        Column("duty", "duty", v.word(Point.Duty.values)),
        Column("procedure", "procedure_key", v.name(40)),
        Column("interval", "interval_months", v.whole(1, 120), units=("months",)),
        Column("grace", "grace_days", v.whole(0, 1800), units=("days",)),
        Column("job hours", "job_hours", v.decimal(3, 1, above=0)),
        Column("last calibrated", "last_calibrated", v.day),
        Column("due", "due", v.day),
        Column("serial", "serial", v.name(60), is_name=True),
        Column("maker", "maker", v.name(80)),
        Column("model", "model", v.name(80), is_name=True),
        Column("principle", "principle", v.word(Principle.values)),
        Column("wiring", "wiring", v.word(Transmitter.Wiring.values)),
        Column("probe length", "probe_length_mm", v.decimal(7, 2, above=0), units=("mm",)),
        Column("probe diameter", "probe_diameter_mm", v.decimal(5, 3, above=0), units=("mm",)),
        Column("insulation", "insulation_mm", v.decimal(4, 3, above=0), units=("mm",)),
        Column("insulation permittivity", "insulation_permittivity", v.decimal(3, 3, least=1)),
        Column("installed", "installed_on", v.day),
        Column("note", "note", v.text(2000)),
    ),
    examples=(
        {
            "tag": "LT-101A",
            "tank": "T-101",
            "indicates": "level",
            "LRV": "0.3",
            "URV": "11.4",
            "signal": "4-20mA",
            "tolerance": "4",
            "tolerance unit": "mm",
            "adjust limit": "2",
            "duty": "custody",
            "interval": "3",
            "grace": "7",
            "job hours": "3",
            "last calibrated": "2026-09-14",
            "serial": "TW80113",
            "maker": "Tarn & Weir",
            "model": "R4",
            "principle": "radar",
            "wiring": "2-wire",
            "installed": "2020-03-02",
        },
        {
            "tag": "LT-101D",
            "tank": "T-101",
            "indicates": "level",
            "LRV": "10.2",
            "URV": "11.6",
            "signal": "4-20mA",
            "tolerance": "1",
            "tolerance unit": "%",
            "adjust limit": "0.5",
            "duty": "safety",
            "interval": "12",
            "job hours": "1.5",
            "due": "2027-01-18",
            "serial": "TW11871",
            "maker": "Tarn & Weir",
            "model": "C2",
            "principle": "capacitance rod",
            "wiring": "3-wire",
            "probe length": "1600",
            "probe diameter": "12",
            "installed": "2021-06-07",
            "note": "Overfill.",
        },
    ),
)

DEVICE_FACTS = (
    "maker",
    "model",
    "principle",
    "wiring",
    "probe_length_mm",
    "probe_diameter_mm",
    "insulation_mm",
    "insulation_permittivity",
    "installed_on",
)
"""They tell of a transmitter, so they need its serial number."""
