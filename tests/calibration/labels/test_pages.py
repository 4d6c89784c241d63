"""Labels: plate, serial, next due, and a square code that leads to the measuring point."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
import segno

from plant.quantities import day_text
from tests.folded import folded
from tests.makers import TODAY, a_calibrated_point, a_round, an_equipped_point

pytestmark = pytest.mark.django_db


def modules_of(page: str) -> np.ndarray:
    """The dark modules drawn, without the quiet zone."""
    size = int(re.search(r'viewBox="0 0 (\d+) \1"\s+role="img"', page).group(1))
    drawn = np.zeros((size, size), dtype=int)
    for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", page):
        drawn[int(y), int(x)] = 1
    return drawn[4:-4, 4:-4]


def test_the_code_on_a_label_is_that_of_the_points_short_address(sign_in, technician, settings):
    settings.PUBLIC_URL = "https://book.marram.example"
    point = an_equipped_point("LT-101A")
    page = sign_in(technician).get(f"/points/{point.pk}/label/").content.decode()
    address = "https://book.marram.example/q/M/LT-101A/"
    assert address in page
    assert point.installations.get().transmitter.serial in page
    # The library's own matrix again, by way of what was drawn: a lost or shifted module would not
    # be read.
    known = np.array([list(row) for row in segno.make_qr(address, error="m").matrix])
    assert (modules_of(page) == known).all()


def test_the_short_address_leads_to_the_point_and_only_to_ones_own(sign_in, technician, outsider):
    point = an_equipped_point("LT-101A")
    answer = sign_in(technician).get("/q/M/LT-101A/")
    assert answer.status_code == 302
    assert answer.url == point.get_absolute_url()
    assert sign_in(technician).get("/q/M/LT-999/").status_code == 404
    assert sign_in(outsider).get("/q/M/LT-101A/").status_code == 404


def test_a_round_prints_the_labels_of_its_stops_in_order(sign_in, planner, technician):
    points = [an_equipped_point(tag) for tag in ("LT-101B", "LT-101A")]
    route = a_round(points, technician=technician, by=planner)
    page = sign_in(technician).get(f"/rounds/{route.pk}/labels/").content.decode()
    tags = [job.point.tag for job in route.stops.order_by("stop_number")]
    assert re.findall(r"/q/M/(LT-\w+)/", page) == tags


@pytest.mark.usefixtures("noon")
def test_a_label_names_a_next_day_only_where_the_reading_can_be_relied_on(sign_in, technician):
    client = sign_in(technician)

    def words(point) -> str:
        return folded(client.get(f"/points/{point.pk}/label/"))

    due = TODAY + dt.timedelta(200)
    calibrated = a_calibrated_point("LT-1", due_on=due)
    assert "Not to be relied on" not in words(calibrated)
    assert day_text(due) in words(calibrated)
    assert "not calibrated on " in words(an_equipped_point("LT-2", due_on=due))
    late = a_calibrated_point("LT-3", due_on=TODAY - dt.timedelta(3))
    assert "overdue 3 d on " in words(late)
    calibrated.out_of_service_on, calibrated.out_of_service_why = TODAY, "opened"
    calibrated.save()
    assert "out of service since" in words(calibrated)
    assert day_text(due) not in words(calibrated)
