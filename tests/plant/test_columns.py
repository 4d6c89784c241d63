"""One description of each attribute: the model, the form, the file and the page hold the same."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest

from calibration.standards.columns import CERTIFICATE, STANDARD
from plant.columns import Attribute, Attributes
from plant.importing import register_sql as sql
from plant.importing.register_columns import REGISTER
from plant.importing.templates import rows_of
from plant.points.columns import POINT
from plant.points.forms import NewPointForm, PointForm
from plant.products.columns import PRODUCT
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.forms import TransmitterForm
from plant.transmitters.models import Transmitter
from tests.files import applied
from tests.makers import a_point, a_tank, a_transmitter, an_installation

# What the model holds beside its described attributes: identity, and what acts of their own write.
ELSEWHERE = {
    POINT: {
        *("id", "site", "out_of_service_on", "out_of_service_why"),
        *("due_on", "anchor_on", "anchor_months", "deferred_until"),
    },
    TRANSMITTER: {"id", "site"},
    PRODUCT: {"id", "site"},
    STANDARD: {"id", "site", "withdrawn_on", "withdrawn_why"},
    CERTIFICATE: {
        *("id", "standard", "stored_as", "file_name", "file_sha256"),
        *("withdrawn_on", "withdrawn_why"),
    },
}

# Cells of a file that differ from what a_transmitter makes, and what is stored for them.
TRANSMITTER_CELLS = {
    "model": ("K9", "K9"),
    "principle": ("radar", "radar"),
    "wiring": ("4-wire", "4-wire"),
    "probe_length_mm": ("4321.5", Decimal("4321.50")),
    "probe_diameter_mm": ("17.3", Decimal("17.300")),
    "insulation_mm": ("2.7", Decimal("2.700")),
    "insulation_permittivity": ("2.9", Decimal("2.900")),
}

# A point with a value of its own in each attribute, and how its page shows it.
POINT_VALUES = {
    "tag": ("LT-77", "LT-77"),
    "tank": (None, "T-101"),
    "quantity": ("level", "+80.0 / −160.0\xa0mm"),
    "unit": ("m", "0.300\xa0m"),
    "lower": (Decimal("0.3"), "0.300\xa0m"),
    "upper": (Decimal("8.3"), "8.300\xa0m"),
    "signal": ("1-5V", "1 V at"),
    "tolerance": (Decimal("1"), "+1.00 /"),
    "tolerance_down": (Decimal("2"), "/ −2.00\xa0%"),
    "tolerance_sides": ("both", "+1.00 / −2.00\xa0%"),
    "tolerance_unit": ("%", "+1.00 / −2.00\xa0%"),
    "adjust_limit": (Decimal("0.77"), "±0.77\xa0%"),
    "duty": ("custody", "custody"),
    "procedure_key": ("our-own", "our-own"),
    "interval_months": (17, "17 months"),
    "grace_days": (23, "grace 23 d"),
    "job_hours": (Decimal("6.5"), "6.5 h"),
    "note": ("Beside the vent.", "Beside the vent."),
}


@pytest.mark.parametrize("attributes", ELSEWHERE, ids=lambda each: each.model.__name__)
def test_every_field_that_a_person_fills_in_is_described(attributes):
    fields = {
        field.name
        for field in attributes.model._meta.concrete_fields
        if field.editable and not getattr(field, "generated", False)
    }
    assert set(attributes.fields) == fields - ELSEWHERE[attributes]


def test_the_forms_ask_for_every_attribute():
    assert set(TRANSMITTER.fields) <= set(TransmitterForm.base_fields)
    asked = set(NewPointForm.base_fields) - {"due_on"}
    assert set(POINT.fields) - {"tank"} <= asked
    grouped = [name for _, names in PointForm.GROUPS for name in names]
    assert sorted(grouped) == sorted({*grouped})
    assert asked - {"seen"} <= set(grouped)


def test_the_files_template_and_the_statements_name_every_attribute_of_a_file():
    columns = [*POINT.columns(), *TRANSMITTER.columns()]
    assert {column.field for column in columns} <= {column.field for column in REGISTER.columns}
    assert {column.heading for column in columns} <= set(rows_of(REGISTER)[0])
    compared = {"tag", "tank", "serial", "maker"} | set(sql.POINT) | set(sql.DEVICE)
    for column in columns:
        assert column.field in sql.STAGED
        assert column.field in compared


def test_the_examples_in_the_template_are_accepted():
    for row in REGISTER.examples:
        for column, cell in zip(REGISTER.columns, row, strict=True):
            assert cell == "" or column.parse(cell) is not None


@pytest.fixture
def equipped(db, site):
    """A point with a transmitter, without probe data yet."""
    point = a_point("LT-77", a_tank())
    an_installation(point, a_transmitter("S-1"))
    return point


@pytest.mark.django_db
@pytest.mark.parametrize(
    "column", TRANSMITTER.columns(but=("serial", "maker")), ids=lambda c: c.field
)
def test_a_file_changes_each_attribute_of_a_transmitter(
    equipped, planner, sign_in, tmp_path, settings, column
):
    settings.DATA = tmp_path
    cell, stored = TRANSMITTER_CELLS[column.field]
    header = f"tag,tank,LRV (m),URV (m),tolerance,serial,maker,{column.heading}"
    line = f"LT-77,T-101,0.3,8.3,1,S-1,Tarn & Weir,{cell}"
    applied(f"{header}\n{line}\n", by=planner, why="read from the name plate")
    assert getattr(Transmitter.objects.get(serial="S-1"), column.field) == stored
    file = b"".join(sign_in(planner).get("/register/export.csv")).decode("utf-8-sig")
    [row] = csv.DictReader(io.StringIO(file))
    assert column.parse(row[column.heading]) == column.parse(cell)


@pytest.mark.django_db
def test_the_page_of_a_transmitter_shows_every_attribute(site, planner, sign_in):
    cells = {name: stored for name, (_, stored) in TRANSMITTER_CELLS.items()}
    device = a_transmitter("S-1", **cells, status="in repair", note="Fell off a cart.")
    page = sign_in(planner).get(device.get_absolute_url()).content.decode()
    listed = {one.field for one in TRANSMITTER if one.line} | {"note"}
    assert set(TRANSMITTER.fields) == listed
    assert "Fell off a cart." in page
    for one in TRANSMITTER:
        assert one.show(getattr(device, one.field)).replace("&", "&amp;") in page, one.field


@pytest.mark.django_db
def test_the_page_of_a_point_shows_every_attribute(site, planner, sign_in):
    tank = a_tank()
    values = {name: value for name, (value, _) in POINT_VALUES.items() if name != "tank"}
    point = a_point(values.pop("tag"), tank, **values)
    page = sign_in(planner).get(point.get_absolute_url()).content.decode()
    shown = {name: text for name, (_, text) in POINT_VALUES.items()}
    shown |= {one.field: one.show(getattr(point, one.field)) for one in POINT if one.line}
    assert set(shown) == set(POINT.fields)
    for field, text in shown.items():
        assert text in page.replace("&nbsp;", "\xa0"), field


def test_a_new_attribute_needs_no_more_than_its_description():
    """Told of once, it has its parser, its place in files and SQL, its label and its line."""
    described = Attributes(
        Transmitter,
        Attribute("serial", "serial"),
        Attribute("insulation_mm", "lining", above=0, units=("mm",), line="Lining"),
    )
    column = described.column("insulation_mm")
    assert (column.heading, column.parse("2.5")) == ("lining (mm)", Decimal("2.5"))
    assert described.sql_types()["insulation_mm"] == "numeric(7,3)"
    assert described.usual("insulation_mm") == "NULL"
    assert (described.label("insulation_mm"), described.unit("insulation_mm")) == (
        "insulation thickness",
        "mm",
    )
    row = Transmitter(serial="1", insulation_mm=Decimal("2.50"))
    assert [tuple(line) for line in described.lines(row)] == [("Lining", "2.5", False)]
