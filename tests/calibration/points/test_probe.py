"""The section on a capacitance probe of a transmitter's page: expected pF, or the datum that is
missing for it.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.folded import folded
from tests.makers import a_point, a_product, a_tank, a_transmitter, an_installation

ROD = {"probe_length_mm": 8000, "probe_diameter_mm": 16}
COVER = {"insulation_mm": 2, "insulation_permittivity": Decimal("2.1")}


def page(client, device, *, product=None, **tank) -> str:
    facts = {"product_c": Decimal(40), "diameter": Decimal(2), "height": Decimal(8)} | tank
    tank = a_tank("T-9", **facts, product=product or a_product())
    point = a_point("LT-9A", tank, lower=Decimal(0), upper=Decimal(8))
    an_installation(point, device)
    return client.get(f"/transmitters/{device.pk}/").content.decode()


@pytest.fixture
def client(sign_in, technician):
    return sign_in(technician)


def test_expected_picofarads_stand_on_the_page(client):
    text = folded(page(client, a_transmitter(**ROD)))
    assert "35.14 pF per metre</strong> in palm olein at 40\u00a0°C, permittivity 3.050" in text
    for said in ("11.52 pF per metre", "281.1", "92.2", "+4.88", "+390", "its nozzle position"):
        assert said in text


def test_a_conducting_product_is_told_by_its_film(client):
    lye = a_product(name="lye 32 %", conducts=True, permittivity=None)
    text = page(client, a_transmitter(**ROD | COVER), product=lye)
    assert "the insulation is the dielectric" in text
    assert "Conducting film 100 mm up the probe" in text


@pytest.mark.parametrize(
    ("device", "tank", "datum"),
    [
        ({}, {}, "the probe&#x27;s length"),
        ({"probe_length_mm": 8000}, {}, "the diameter of rod or rope"),
        (ROD, {"wall_conducts": False}, "how far off the reference electrode stands"),
    ],
)
def test_the_missing_datum_is_named(client, device, tank, datum):
    text = page(client, a_transmitter(**device), **tank)
    assert f"cannot be computed: the register lacks {datum}" in text


def test_other_principles_and_spares_have_no_such_section(client):
    assert "<h2>Probe</h2>" not in page(client, a_transmitter(principle="radar"))
    spare = a_transmitter(**ROD)
    assert "<h2>Probe</h2>" not in client.get(f"/transmitters/{spare.pk}/").content.decode()
