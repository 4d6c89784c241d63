"""The attributes of a reference standard and of its certificates: forms and columns in files."""

from __future__ import annotations

from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.columns import Attribute, Attributes

STANDARD = Attributes(
    ReferenceStandard,
    Attribute("name", "standard", required=True, is_name=True, examples=("MM-01", "DT-02")),
    Attribute("kind", "kind", required=True, examples=("multimeter", "dip tape")),
    Attribute("maker", "maker", examples=("Tarn & Weir",)),
    Attribute("model", "model", is_name=True, examples=("M6",)),
    Attribute("serial", "serial", is_name=True, examples=("40112",)),
    Attribute(
        "interval_months",
        "interval",
        least=1,
        most=120,
        units=("months",),
        examples=("12", "12"),
    ),
    Attribute("holder"),
    Attribute("note"),
)
LABORATORY = "Heron Metrology Laboratory"
CERTIFICATE = Attributes(
    StandardCertificate,
    Attribute("number", "certificate", is_name=True, examples=("H-26-0117", "H-26-0203")),
    Attribute("laboratory", "laboratory", examples=(LABORATORY, LABORATORY)),
    Attribute("accreditation", "accreditation"),
    Attribute("issued_on", "issued", examples=("2026-01-15", "2026-02-03")),
    Attribute("valid_until", "valid until", examples=("2027-01-14", "2027-02-02")),
    Attribute("unit", "unit", examples=("mA", "mm")),
    Attribute("range_low", "range from", examples=("0", "0")),
    Attribute("range_high", "range to", examples=("24", "15000")),
    Attribute("percent_of_reading", "% of reading", least=0, examples=("0.02",)),
    Attribute("percent_of_range", "% of range", least=0),
    Attribute("absolute", "absolute", least=0, examples=("0.002", "0.3")),
    Attribute("deviation", "deviation"),
    Attribute("resolution", "resolution", least=0, examples=("0.001",)),
    Attribute("expanded_uncertainty", "U", above=0, examples=("0.0015",)),
    Attribute("coverage_factor", "k", above=0, examples=("2",)),
)
