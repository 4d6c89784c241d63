"""The page of a tank's change of product: shown first, stored second, nothing typed lost."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

import pytest
from django.utils import timezone

from calibration.jobs.models import Job
from plant.product_changes.models import ProductChange
from plant.tanks.models import Tank
from tests.folded import folded
from tests.makers import a_point, a_product, a_tank, a_transmitter, an_installation

TYPED = {"product_name": "Soybean oil", "celsius": "25", "why": "A ship of soybean oil."}


@pytest.fixture
def tank(site) -> Tank:
    tank = a_tank(product_c=Decimal(40))
    a_product(name="soybean oil", permittivity=Decimal("3.15"), permittivity_c=25)
    rod = a_transmitter(probe_length_mm=8100, probe_diameter_mm=12)
    an_installation(a_point("LT-101B", tank), rod)
    an_installation(a_point("LT-101A", tank), a_transmitter(principle="radar"))
    an_installation(a_point("LT-101C", tank))
    return tank


@pytest.fixture
def typed(site) -> dict[str, str]:
    return TYPED | {"on": site.day_of(timezone.now()).isoformat()}


def post(client, tank, **sent):
    return client.post(f"/tanks/{tank.pk}/product/", sent)


def mark_in(answer) -> str:
    return re.search(r'name="shown" value="(\w*)"', answer.content.decode())[1]


def test_the_first_button_shows_and_stores_nothing(sign_in, planner, tank, typed):
    answer = post(sign_in(planner), tank, **typed, step="show")
    text = answer.content.decode()
    assert answer.status_code == 200
    for said in ("+1.22", "+2.44", "+4.88", "+0.780\u00a0mA, +390\u00a0mm", "beyond the tolerance"):
        assert said in text
    assert "The register lacks the probe&#x27;s length" in text
    assert "does not follow the product" in text
    assert 'value="Soybean oil"' in text
    assert not ProductChange.objects.exists()


def test_the_second_stores_what_was_shown_and_names_what_is_asked(sign_in, planner, tank, typed):
    client = sign_in(planner)
    shown = mark_in(post(client, tank, **typed, step="show"))
    answer = client.post(
        f"/tanks/{tank.pk}/product/", typed | {"shown": shown, "step": "store"}, follow=True
    )
    text = answer.content.decode()
    assert "T-101 holds soybean oil at 25\u00a0°C now." in text
    assert "Recalibration is asked for at LT-101B, LT-101C." in text
    assert "before: palm olein at 40\u00a0°C. A ship of soybean oil." in text
    assert Job.objects.count() == 2


def test_what_was_not_shown_is_not_stored(sign_in, planner, tank, typed):
    client = sign_in(planner)
    shown = mark_in(post(client, tank, **typed, step="show"))
    for sent in ({}, {"shown": shown, "celsius": "60"}):
        answer = post(client, tank, **(typed | {"step": "store"} | sent))
        assert answer.status_code == 422
        assert "This is not what was shown before" in answer.content.decode()
    assert not ProductChange.objects.exists()
    again = mark_in(answer)
    answer = post(client, tank, **typed | {"celsius": "60", "shown": again, "step": "store"})
    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"product_name": "treacle"}, "has no product “treacle”"),
        ({"celsius": "warm"}, "not a plain number"),
        ({"celsius": "25,5"}, "Write 25.5 with a point"),
        ({"why": ""}, "required"),
        ({"on": ""}, "required"),
        ({"on": "2099-01-01"}, "still to come"),
        ({"product_name": "palm olein", "celsius": "40"}, "holds palm olein at 40\u00a0°C already"),
    ],
)
@pytest.mark.parametrize("step", ["show", "store"])
def test_what_cannot_be_is_said_and_kept(sign_in, planner, tank, typed, other, said, step):
    answer = post(sign_in(planner), tank, **(typed | other | {"step": step}))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    kept = (typed | other)["why"]
    assert kept in text
    assert not ProductChange.objects.exists()


def test_a_tanks_form_shows_the_product_and_changes_it_nowhere(sign_in, planner, tank):
    text = folded(sign_in(planner).get(f"/tanks/{tank.pk}/edit/"))
    assert "Product: <strong>palm olein at 40\u00a0°C</strong>" in text
    assert f'href="/tanks/{tank.pk}/product/"' in text
    assert 'name="product_name"' not in text


def test_a_tank_without_points_can_change_its_product(sign_in, planner, typed):
    a_product(name="soybean oil")
    tank = a_tank("T-9")
    text = post(sign_in(planner), tank, **typed, step="show").content.decode()
    assert "no reading is affected" in text


def test_the_job_tells_the_technician(sign_in, planner, technician, tank, typed):
    client = sign_in(planner)
    shown = mark_in(post(client, tank, **typed, step="show"))
    post(client, tank, **typed, shown=shown, step="store")
    job = Job.objects.get(point__tag="LT-101B")
    text = sign_in(technician).get(f"/jobs/{job.pk}/").content.decode()
    assert "reads about 4.9 % of span high when full" in text
    assert job.due_on <= dt.datetime.now(dt.UTC).date() + dt.timedelta(1)


def test_everybody_who_sees_the_tank_sees_what_each_change_asked_for(
    sign_in, planner, auditor, tank, typed
):
    client = sign_in(planner)
    shown = mark_in(post(client, tank, **typed, step="show"))
    post(client, tank, **typed, shown=shown, step="store")
    reader = sign_in(auditor)
    text = reader.get(f"/tanks/{tank.pk}/product/").content.decode()
    job = Job.objects.get(point__tag="LT-101B")
    for said in (
        f'href="/jobs/{job.pk}/"',
        "planned",
        "+4.88 % of span when full",
        "shift not computed",
    ):
        assert said in text
    assert 'name="product_name"' not in text
    assert post(reader, tank, **typed, step="show").status_code == 403
    history = reader.get(f"/history/points/{job.point_id}/?kind=product").content.decode()
    assert "The tank holds soybean oil at 25\u00a0°C instead of palm olein at 40\u00a0°C" in history
