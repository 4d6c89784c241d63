"""The register's forms: what people type wrong, messages beside the field, nothing typed lost, two
people at once.
"""

from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from plant.ledger.models import LedgerEntry
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.products.models import Product
from plant.tanks.models import Tank
from plant.transmitters.models import Transmitter
from tests.folded import folded
from tests.makers import (
    a_person,
    a_point,
    a_product,
    a_site,
    a_tank,
    a_transmitter,
    an_installation,
)

pytestmark = pytest.mark.django_db

NEW_POINT = {
    "tank_name": "T-101",
    "tag": "LT-5",
    "quantity": "level",
    "unit": "m",
    "lower": "0.3",
    "upper": "8.3",
    "signal": "4-20mA",
    "tolerance": "1",
    "tolerance_sides": "both",
    "tolerance_unit": "%",
    "duty": "general",
    "interval_months": "12",
    "grace_days": "0",
    "job_hours": "1.5",
    "due_on": "2026-12-01",
}


@pytest.fixture
def client(sign_in, planner):
    return sign_in(planner)


def errors_of(page) -> dict[str, str]:
    return {name: " ".join(messages) for name, messages in page.context["form"].errors.items()}


def sent_again(page, **changed) -> dict[str, str]:
    """What the browser would send from this page's form."""
    form = page.context["form"]
    data = {form.add_prefix(name): form[name].value() for name in form.fields}
    data = {name: form[name].field.prepare_value(value) for name, value in data.items()}
    return {k: v for k, v in data.items() if v not in (None, False, "")} | changed


def test_a_new_point_with_half_its_tolerance_as_adjust_limit(client):
    a_tank()
    page = client.post("/points/new/", NEW_POINT)
    point = MeasuringPoint.objects.get()
    assert page.url == f"/points/{point.pk}/install/"
    assert (point.adjust_limit, point.due_on.isoformat()) == (Decimal("0.5"), "2026-12-01")


@pytest.mark.parametrize(
    ("typed", "field", "reason"),
    [
        ({"lower": "0,5"}, "lower", "Write 0.5 with a point."),
        ({"upper": "nan"}, "upper", "not a plain number"),
        ({"upper": "inf"}, "upper", "not a plain number"),
        ({"upper": "1e999"}, "upper", "not a plain number"),
        ({"upper": "9" * 39}, "upper", "too large to be true"),
        ({"upper": "8.123456"}, "upper", "at most 5 digits"),
        ({"upper": "eight"}, "upper", "not a plain number"),
        ({"upper": ""}, "upper", "required"),
        ({"upper": "0.3"}, "upper", "LRV and URV must differ"),
        ({"upper": "99"}, "upper", "lies outside tank T-101"),
        ({"lower": "-0.2"}, "lower", "run from 0.000 to 12.000 m"),
        ({"tolerance": "0"}, "tolerance", "above zero"),
        ({"tolerance": "-1"}, "tolerance", "above zero"),
        ({"adjust_limit": "3"}, "adjust_limit", "between zero and the tolerance"),
        ({"quantity": "volume"}, "unit", "volume needs m³ or L"),
        ({"tolerance_unit": "mA", "signal": "0-10V"}, "tolerance_unit", "needs a current output"),
        ({"interval_months": "0"}, "interval_months", "1 to 120"),
        ({"interval_months": "1.5"}, "interval_months", "whole number"),
        ({"due_on": "31/02/2026"}, "due_on", "valid date"),
        ({"tag": ""}, "tag", "required"),
        ({"tag": "LT-101A"}, "tag", "already has a measuring point with that tag"),
        ({"tank_name": "T-999"}, "tank_name", "no tank “T-999”"),
        ({"duty": "decoration"}, "duty", "not one of the available choices"),
        ({"tag": "L\x00T"}, "tag", "Null characters"),
        ({"procedure_key": "made-up"}, "procedure_key", "not one of the available choices"),
    ],
)
def test_what_is_wrong_is_shown_beside_its_field_and_nothing_typed_is_lost(
    client, typed, field, reason
):
    a_point("LT-101A")
    page = client.post("/points/new/", NEW_POINT | {"note": "dip hatch north"} | typed)
    assert page.status_code == 422
    assert set(errors_of(page)) == {field}
    assert reason in errors_of(page)[field]
    assert b"dip hatch north" in page.content
    assert MeasuringPoint.objects.count() == 1


def test_every_wrong_field_is_named_at_once(client):
    a_tank()
    page = client.post(
        "/points/new/", NEW_POINT | {"lower": "0,5", "tag": "", "tolerance": "0", "tank_name": "X"}
    )
    assert set(errors_of(page)) == {"lower", "tag", "tolerance", "tank_name"}


def test_a_level_below_a_raised_datum_is_allowed_down_to_the_lowest_point(client):
    a_tank(datum=Decimal("0.5"))
    assert client.post("/points/new/", NEW_POINT | {"lower": "-0.5"}).status_code == 302
    page = client.post("/points/new/", NEW_POINT | {"tag": "LT-6", "lower": "-0.51"})
    assert "run from −0.500 to 11.500 m" in errors_of(page)["lower"]


def test_a_true_minus_sign_is_understood(client):
    a_tank(datum=Decimal("0.5"))
    client.post("/points/new/", NEW_POINT | {"lower": "\u22120.5"})
    assert MeasuringPoint.objects.get().lower == Decimal("-0.5")


def test_the_form_tells_the_tolerance_in_its_other_units(client):
    point = a_point()
    assert (
        "±0.160\u00a0mA, ±80.0\u00a0mm" in client.get(f"/points/{point.pk}/edit/").content.decode()
    )


def test_an_older_form_shows_both_versions_and_saving_again_is_a_decision(client, sign_in, site):
    point = a_point()
    other = sign_in(a_person("bsedgewick", "planner", name="B. Sedgewick"))
    address = f"/points/{point.pk}/edit/"
    mine = sent_again(client.get(address), note="mine", tag="LT-101X")
    theirs = sent_again(other.get(address), note="theirs")
    assert other.post(address, theirs).status_code == 302
    page = client.post(address, mine)
    assert page.status_code == 422
    text = page.content.decode()
    assert "was changed by somebody else" in text
    assert "B. Sedgewick changed it on" in text
    assert page.context["form"].versions == [
        ("tag", "LT-101A", "LT-101X"),
        ("note", "theirs", "mine"),
    ]
    point.refresh_from_db()
    assert (point.note, point.tag) == ("theirs", "LT-101A")
    assert client.post(address, sent_again(page)).status_code == 302
    point.refresh_from_db()
    assert (point.note, point.tag) == ("mine", "LT-101X")


def test_an_older_form_about_a_tank_shows_both_versions_too(client):
    tank = a_tank()
    address = f"/tanks/{tank.pk}/edit/"
    mine = sent_again(client.get(address), height="13")
    Tank.objects.update(height=14)
    page = client.post(address, mine)
    assert page.context["form"].versions == [("straight height or length", "14", "13")]
    assert client.post(address, sent_again(page)).status_code == 302
    assert Tank.objects.get().height == 13


def test_a_form_saved_unchanged_changes_nothing_but_is_no_error(client):
    tank, point = a_tank(), None
    point = a_point(tank=tank)
    for address in (
        f"/tanks/{tank.pk}/edit/",
        f"/points/{point.pk}/edit/",
        f"/products/{tank.product_id}/edit/",
    ):
        assert client.post(address, sent_again(client.get(address))).status_code == 302
    assert all(entry.details == {} for entry in LedgerEntry.objects.all())


# ---- tanks ----
NEW_TANK = {
    "area_name": "Quay park",
    "name": "T-9",
    "shape": "vertical",
    "unit": "m",
    "diameter": "2",
    "height": "3",
    "bottom": "flat",
    "roof": "flat",
    "datum": "0",
    "wall_conducts": "on",
}


def test_a_tank_is_added_with_its_product_by_name(client):
    a_product(name="molasses")
    client.post("/tanks/new/", NEW_TANK | {"product_name": "Molasses"})
    assert Tank.objects.get().product.name == "molasses"


@pytest.mark.parametrize(
    ("typed", "field", "reason"),
    [
        ({"diameter": ""}, "diameter", "A vertical tank needs a number above zero here."),
        ({"height": "-3"}, "height", "above zero"),
        ({"roof": "cone"}, "roof_depth", "A cone needs its depth."),
        ({"roof_depth": "1"}, "roof_depth", "leave it empty"),
        ({"height": "3,5"}, "height", "Write 3.5 with a point"),
        ({"datum": "4"}, "datum", "must lie inside the tank"),
        ({"highest_level": "3.1"}, "highest_level", "run from 0.000 m to 3.000 m"),
        ({"lowest_level": "2", "highest_level": "1"}, "highest_level", "must be below the highest"),
        ({"shape": "strapped"}, "strapping", "at least two rows"),
        (
            {"shape": "strapped", "strapping": "0 0\n1 12,5"},
            "strapping",
            "Line 2: Write 12.5 with a point.",
        ),
        (
            {"shape": "strapped", "strapping": "0 0\n1"},
            "strapping",
            "Line 2: write a height and a volume",
        ),
        ({"shape": "strapped", "strapping": "0 0\n1 5\n2 4"}, "strapping", "is less than the 5"),
        (
            {"shape": "strapped", "strapping": "0 0\n1 nan"},
            "strapping",
            "Line 2: This is not a plain number",
        ),
        ({"shape": "rectangular", "length": "2"}, "width", "needs a number above zero"),
        ({"area_name": " "}, "area_name", "required"),
        ({"product_name": "treacle"}, "product_name", "has no product “treacle”"),
        ({"product_c": "warm"}, "product_c", "not a plain number"),
    ],
)
def test_a_tank_that_cannot_be_is_refused_beside_its_field(client, typed, field, reason):
    page = client.post("/tanks/new/", NEW_TANK | typed)
    assert page.status_code == 422
    assert reason in errors_of(page).get(field, str(errors_of(page)))
    assert set(errors_of(page)) == {field}
    assert not Tank.objects.exists()


def test_a_tank_shows_its_volume_and_every_current_at_a_level(client):
    tank = a_tank(diameter=Decimal(2), height=Decimal(3))
    an_installation(a_point(tank=tank, lower=Decimal(0), upper=Decimal(2)))
    text = folded(client.get(f"/tanks/{tank.pk}/?level=1"))
    assert "<strong>3.14\u00a0m³</strong>, 33.3 % of the capacity" in text
    assert "LT-101A shows 12.000\u00a0mA" in text


@pytest.mark.parametrize("level", ["-1", "99", "nan", "inf", "1e999", "x", "١"])
def test_a_tank_page_takes_any_level_typed(client, level):
    tank = a_tank()
    assert client.get(f"/tanks/{tank.pk}/", {"level": level}).status_code == 200


@pytest.mark.parametrize(
    "values",
    [
        {
            "shape": "horizontal",
            "diameter": Decimal(2),
            "height": None,
            "length": Decimal(6),
            "bottom": "dished",
        },
        {
            "shape": "horizontal",
            "diameter": Decimal(2),
            "height": None,
            "length": Decimal(6),
            "bottom": "dished",
            "far_end": "cone",
            "far_end_depth": Decimal("0.5"),
        },
        {"shape": "sphere", "diameter": Decimal(6), "height": None},
        {
            "shape": "rectangular",
            "diameter": None,
            "length": Decimal(3),
            "width": Decimal(2),
            "height": Decimal(2),
        },
        {"bottom": "cone", "bottom_depth": Decimal(1), "roof": "ellipsoidal"},
        {"wall_conducts": False},
    ],
)
def test_every_shape_is_drawn(client, values):
    tank = a_tank(**values)
    a_point(tank=tank, lower=Decimal("0.1"), upper=Decimal("1.5"))
    text = client.get(f"/tanks/{tank.pk}/").content.decode()
    assert 'class="tank-drawing"' in text


# ---- transmitters and installations ----
def test_a_transmitter_is_added_as_a_spare_and_installed_by_part_of_its_serial(client):
    client.post(
        "/transmitters/new/", {"serial": "TW-777", "principle": "radar", "wiring": "2-wire"}
    )
    spare = Transmitter.objects.get()
    assert spare.status == "spare"
    point = a_point()
    today = timezone.now().date().isoformat()
    assert (
        client.post(f"/points/{point.pk}/install/", {"transmitter": "777", "on": today}).url
        == f"/points/{point.pk}/"
    )
    assert point.installations.get().transmitter == spare


@pytest.mark.parametrize(
    ("typed", "field", "reason"),
    [
        ({"transmitter": "nothing"}, "transmitter", "no transmitter “nothing”"),
        ({"transmitter": "S-"}, "transmitter", "More than one transmitter fits"),
        ({"on": "2020-02-01"}, "why", "say why it is entered late"),
        ({"on": "2099-01-01"}, "on", "still to come"),
    ],
)
def test_an_installation_that_cannot_be_is_refused_beside_its_field(client, typed, field, reason):
    a_transmitter("S-1")
    a_transmitter("S-2")
    point = a_point()
    values = {"transmitter": "S-1", "on": timezone.now().date().isoformat()} | typed
    page = client.post(f"/points/{point.pk}/install/", values)
    assert page.status_code == 422
    assert reason in errors_of(page)[field]


def test_a_swap_and_a_removal_go_through_their_forms(client):
    point = a_point()
    old = an_installation(point)
    a_transmitter("S-9")
    today = timezone.now().date().isoformat()
    values = {"transmitter": "S-9", "seen": old.pk, "goes": "in repair", "on": today}
    assert client.post(f"/points/{point.pk}/install/", values).status_code == 302
    assert point.installations.get(removed_on=None).transmitter.serial == "S-9"
    page = client.post(
        f"/points/{point.pk}/remove/",
        {"remove-seen": old.pk, "remove-goes": "spare", "remove-on": today},
    )
    assert page.status_code == 422
    assert b"Somebody else has changed the installation at LT-101A" in page.content


# ---- products, people, sites ----
def test_a_product_below_a_permittivity_of_one_is_refused(client):
    values = {
        "name": "air",
        "permittivity": "0.9",
        "permittivity_c": "20",
        "permittivity_per_k": "0",
    }
    values |= {"density_c": "20", "density_per_k": "0"}
    page = client.post("/products/new/", values)
    assert "never below 1" in errors_of(page)["permittivity"]
    client.post("/products/new/", values | {"permittivity": "1"})
    assert Product.objects.get().site == a_site()


def test_an_administrator_adds_a_person_who_then_signs_in(sign_in, administrator):
    boss = sign_in(administrator)
    values = {
        "name": "O. Quist",
        "username": "oquist",
        "password": "short",
        "role": "technician",
        "site": a_site().pk,
    }
    page = boss.post("/people/new/", values)
    assert page.status_code == 422
    assert set(errors_of(page)) == {"password"}
    assert boss.post("/people/new/", values | {"password": "nine green herons"}).status_code == 302
    assert Person.objects.get(username="oquist").roles == {"technician"}
    new = Client()
    sent = new.post("/sign-in/", {"username": "oquist", "password": "nine green herons"})
    assert (sent.status_code, sent.url) == (302, "/")


def test_an_administrator_cannot_appoint_himself_a_planner(sign_in, administrator):
    boss = sign_in(administrator)
    values = {"role-site": a_site().pk, "role-role": "planner", "role-starts_on": "2026-01-01"}
    page = boss.post(f"/people/{administrator.pk}/appoint/", values)
    assert page.status_code == 422
    assert b"another administrator must" in page.content


def test_a_persons_roles_elsewhere_stay_hidden(sign_in, administrator, technician):
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    technician.appointments.create(site=elsewhere, role="auditor", starts_on="2020-01-01")
    text = sign_in(administrator).get(f"/people/{technician.pk}/").content.decode()
    assert "Neelghat" not in text


def test_a_planner_sets_crew_hours(client, site):
    address = f"/sites/{site.pk}/edit/"
    form = client.get(address).context["forms"][0]
    values = {
        "planned-seen": form["seen"].value(),
        "planned-crew_hours": "60",
        "planned-digest_at": "05:30",
    }
    assert client.post(address, values).status_code == 302
    site.refresh_from_db()
    assert site.crew_hours == 60
