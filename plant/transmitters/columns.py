"""The attributes of a transmitter: its form, its columns in the register's file and its page."""

from __future__ import annotations

from plant.columns import Attribute, Attributes
from plant.quantities import number
from plant.transmitters.models import Transmitter

TRANSMITTER = Attributes(
    Transmitter,
    Attribute(
        "serial",
        "serial",
        is_name=True,
        examples=("TW80113", "TW11871"),
        line="Serial number",
        monospace=True,
    ),
    Attribute(
        "maker",
        "maker",
        examples=("Tarn & Weir", "Tarn & Weir"),
        line="Maker, model",
        when_empty="–",
    ),
    Attribute(
        "model", "model", is_name=True, examples=("R4", "C2"), line="Maker, model", before=" "
    ),
    Attribute("principle", "principle", examples=("radar", "capacitance rod"), line="Principle"),
    Attribute("wiring", "wiring", examples=("2-wire", "3-wire"), line="Wiring"),
    Attribute(
        "probe_length_mm",
        "probe length",
        above=0,
        units=("mm",),
        examples=("", "1600"),
        line="Probe",
        show=lambda mm: f"{number(mm, 0)} mm long",
    ),
    Attribute(
        "probe_diameter_mm",
        "probe diameter",
        above=0,
        units=("mm",),
        examples=("", "12"),
        line="Probe",
        show=lambda mm: f"Ø {number(mm, 1)} mm",
    ),
    Attribute(
        "insulation_mm",
        "insulation",
        above=0,
        units=("mm",),
        line="Insulation",
        show=lambda mm: f"{number(mm, 1)} mm",
    ),
    Attribute(
        "insulation_permittivity",
        "insulation permittivity",
        least=1,
        line="Insulation",
        show=lambda permittivity: f"permittivity {number(permittivity, 1)}",
    ),
    Attribute("status", line="Status"),
    Attribute("note"),
)
