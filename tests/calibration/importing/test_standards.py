"""Reference standards and their certificates from a file."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from calibration.importing.standards import STANDARDS
from calibration.standards.models import StandardCertificate
from plant.importing.templates import csv_template
from tests.files import applied, reasons, send

pytestmark = pytest.mark.django_db

TEXT = (
    "standard,kind,certificate,laboratory,issued,valid until,unit,U,k\n"
    "MM-01,multimeter,C-25,Heron Metrology Laboratory,2025-01-15,2026-01-14,mA,0.0015,2\n"
    "MM-01,multimeter,C-26,Heron Metrology Laboratory,2026-01-15,2027-01-14,mA,0.0015,2\n"
    "DT-02,dip tape,,,,,,,\n"
)


def test_a_standard_comes_in_with_all_its_certificates(site, planner):
    batch = applied(TEXT, by=planner, kind="standards")
    assert (batch.rows_new, batch.rows_changed, batch.rows_same) == (3, 0, 0)
    covering = StandardCertificate.objects.covering(dt.date(2025, 6, 1))
    assert covering.get().standard.name == "MM-01"
    again = send(TEXT, by=planner, kind="standards")
    assert (again.rows_new, again.rows_changed, again.rows_same) == (0, 0, 3)


def test_a_certified_deviation_comes_in_with_its_sign(site, planner):
    text = TEXT.replace(",unit,U,k", ",unit,U,k,deviation").replace(
        "0.0015,2\n", "0.0015,2,-0.004\n"
    )
    applied(
        text.replace("DT-02,dip tape,,,,,,,", "DT-02,dip tape,,,,,,,,"),
        by=planner,
        kind="standards",
    )
    known = StandardCertificate.objects.values_list("deviation", flat=True)
    assert list(known) == [Decimal("-0.004")] * 2


def test_a_new_certificate_is_added_to_a_standard_of_the_book(site, planner):
    applied(TEXT, by=planner, kind="standards")
    more = TEXT.replace(
        "DT-02,dip tape,,,,,",
        "DT-02,dip tape,C-9,Heron Metrology Laboratory,2026-02-01,2027-02-01,mm",
    )
    assert applied(more, by=planner, kind="standards").rows_new == 1
    assert StandardCertificate.objects.count() == 3


def test_what_a_laboratory_stated_is_not_changed(site, planner):
    applied(TEXT, by=planner, kind="standards")
    batch = send(TEXT.replace("2027-01-14", "2028-01-14"), by=planner, kind="standards")
    (row, column, reason), *_ = reasons(batch)
    assert (row, column) == (3, "valid until")
    assert "the register has 2027-01-14" in reason


def test_every_fault_of_a_certificate_is_named(site, planner):
    text = (
        "standard,kind,certificate,laboratory,issued,valid until,U,k\n"
        "MM-01,multimeter,C-1,,2026-01-15,2025-01-14,0.1,\n"
        "MM-02,meter,C-1,L,2027-01-15,2028-01-14,,2\n"
    )
    assert {r[:2] for r in reasons(send(text, by=planner, kind="standards"))} == {
        (2, "laboratory"), (2, "valid until"), (2, "k"), (3, "kind"), (3, "issued"), (3, "U"),
    }  # fmt: skip


def test_the_example_file_comes_in_as_it_is(site, planner):
    assert applied(csv_template(STANDARDS), by=planner, kind="standards").rows_new == 2
