"""Rows for tests, each valid as it comes; name only what your test is about.

All play in one invented plant: Marram Point, an edible-oil terminal.
"""

from tests.makers.calibration import (
    a_certificate,
    a_certified_standard,
    a_job,
    a_procedure,
    a_proposal,
    a_round,
    a_standard,
)
from tests.makers.plant import (
    LONG_AGO,
    NOON,
    TODAY,
    a_person,
    a_point,
    a_product,
    a_site,
    a_tank,
    a_transmitter,
    an_area,
    an_equipped_point,
    an_installation,
    an_unsaved_point,
    an_unsaved_tank,
    soybean_oil,
)
from tests.makers.records import (
    a_calibrated_point,
    a_reading,
    a_record,
    a_run,
    a_sent_record,
    an_approved_record,
    an_unsaved_record,
    past_records,
)

__all__ = [
    "LONG_AGO",
    "NOON",
    "TODAY",
    "a_calibrated_point",
    "a_certificate",
    "a_certified_standard",
    "a_job",
    "a_person",
    "a_point",
    "a_procedure",
    "a_product",
    "a_proposal",
    "a_reading",
    "a_record",
    "a_round",
    "a_run",
    "a_sent_record",
    "a_site",
    "a_standard",
    "a_tank",
    "a_transmitter",
    "an_approved_record",
    "an_area",
    "an_equipped_point",
    "an_installation",
    "an_unsaved_point",
    "an_unsaved_record",
    "an_unsaved_tank",
    "past_records",
    "soybean_oil",
]
