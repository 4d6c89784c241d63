"""Who may open which page of the register, and that each opens."""

import pytest

from tests.makers import (
    a_point,
    a_product,
    a_tank,
    a_transmitter,
    an_area,
    an_equipped_point,
    an_installation,
)

pytestmark = pytest.mark.django_db

ROLES = ("planner", "technician", "approver", "auditor", "administrator", "outsider")
# address: expected status for each of ROLES
DOORS = {
    "/register/": (200, 200, 200, 200, 403, 200),
    "/register/export.csv": (200, 403, 200, 200, 403, 200),
    "/register/export.xlsx": (200, 403, 200, 200, 403, 200),
    "/points/new/": (200, 403, 403, 403, 403, 200),
    "/points/{point}/edit/": (200, 403, 403, 403, 404, 404),
    "/points/{point}/service/": (200, 403, 403, 403, 404, 404),
    "/points/{point}/install/": (200, 403, 200, 403, 404, 404),
    "/points/{point}/remove/": (405, 405, 405, 405, 405, 405),
    "/tanks/": (200, 200, 200, 200, 403, 200),
    "/tanks/new/": (200, 403, 403, 403, 403, 200),
    "/tanks/{tank}/": (200, 200, 200, 200, 404, 404),
    "/tanks/{tank}/edit/": (200, 403, 403, 403, 404, 404),
    "/products/": (200, 200, 200, 200, 403, 200),
    "/products/new/": (200, 403, 403, 403, 403, 200),
    "/products/{product}/edit/": (200, 403, 403, 403, 404, 404),
    "/transmitters/": (200, 200, 200, 200, 403, 200),
    "/transmitters/new/": (200, 403, 403, 403, 403, 200),
    "/transmitters/{transmitter}/edit/": (200, 403, 403, 403, 404, 404),
    "/sites/": (200, 200, 200, 200, 200, 200),
    "/sites/new/": (403, 403, 403, 403, 200, 200),
    "/sites/{site}/edit/": (200, 403, 403, 403, 200, 404),
    "/areas/{area}/edit/": (200, 403, 403, 403, 404, 404),
    "/people/": (403, 403, 403, 403, 200, 200),
    "/people/new/": (403, 403, 403, 403, 200, 200),
    "/people/{person}/": (403, 403, 403, 403, 200, 404),
    "/people/{person}/appoint/": (405, 405, 405, 405, 405, 405),
}


def answer(client, address: str) -> int:
    """The status; a file is read to its end, as a browser would."""
    response = client.get(address)
    if response.streaming:
        assert b"".join(response)
    return response.status_code


@pytest.fixture
def things(site, technician):
    point = an_equipped_point()
    return {
        "point": point.pk,
        "tank": point.tank_id,
        "product": point.tank.product_id,
        "area": point.tank.area_id,
        "transmitter": point.installations.get().transmitter_id,
        "site": site.pk,
        "person": technician.pk,
    }


@pytest.mark.parametrize("address", DOORS)
def test_each_page_opens_for_those_it_is_for(address, things, sign_in, request):
    found = tuple(
        answer(sign_in(request.getfixturevalue(role)), address.format(**things)) for role in ROLES
    )
    assert found == DOORS[address]


POSTS = {
    "/points/{point}/remove/": (422, 403, 422, 403, 404, 404),
    "/people/{person}/appoint/": (403, 403, 403, 403, 422, 404),
    "/people/{person}/password/": (403, 403, 403, 403, 422, 404),
    "/people/{person}/close/": (403, 403, 403, 403, 422, 404),
    "/appointments/{appointment}/end/": (403, 403, 403, 403, 302, 404),
    "/points/new/": (422, 403, 403, 403, 403, 422),
    "/points/{point}/edit/": (422, 403, 403, 403, 404, 404),
    "/points/{point}/service/": (422, 403, 403, 403, 404, 404),
    "/points/{point}/install/": (422, 403, 422, 403, 404, 404),
    "/tanks/new/": (422, 403, 403, 403, 403, 422),
    "/tanks/{tank}/edit/": (422, 403, 403, 403, 404, 404),
    "/products/new/": (422, 403, 403, 403, 403, 422),
    "/transmitters/new/": (422, 403, 403, 403, 403, 422),
    "/sites/new/": (403, 403, 403, 403, 422, 422),
    "/people/new/": (403, 403, 403, 403, 422, 422),
}


@pytest.mark.parametrize("address", POSTS)
def test_an_empty_form_is_refused_and_shown_again_only_to_those_it_is_for(
    address, things, sign_in, request, technician
):
    things["appointment"] = technician.appointments.get().pk
    found = tuple(
        sign_in(request.getfixturevalue(role)).post(address.format(**things)).status_code
        for role in ROLES
    )
    assert found == POSTS[address]


@pytest.mark.parametrize(
    "address", [a for a in DOORS if a.endswith("/") and "remove" not in a and "appoint" not in a]
)
def test_a_page_has_a_title_a_heading_and_no_inline_style_or_script(
    address, things, sign_in, planner, administrator
):
    person = administrator if ("people" in address or "sites/new" in address) else planner
    text = sign_in(person).get(address.format(**things)).content.decode()
    assert " · Spanbook</title>" in text
    assert text.count("<h1>") == 1
    assert "style=" not in text
    assert "<script" not in text


@pytest.mark.parametrize("address", ["/tanks/", "/transmitters/", "/products/", "/people/"])
def test_a_list_costs_the_same_few_queries_however_long(
    address, sign_in, planner, administrator, django_assert_max_num_queries
):
    for n in range(20):
        tank = a_tank(
            f"T-{n}", area=an_area(name=f"Area {n % 3}"), product=a_product(name=f"product {n}")
        )
        an_installation(a_point(f"LT-{n}", tank), a_transmitter(f"S{n}"))
    client = sign_in(administrator if address == "/people/" else planner)
    with django_assert_max_num_queries(7):
        client.get(address)
