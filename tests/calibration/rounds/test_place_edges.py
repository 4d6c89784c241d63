"""The places of the stops of a round, from the first on."""

from __future__ import annotations

import pytest

from calibration.rounds import acts as rounds
from tests.makers import NOON, TODAY, an_equipped_point

pytestmark = pytest.mark.django_db


def places(made) -> list[int]:
    return list(made.stops.order_by("stop_number").values_list("stop_number", flat=True))


def test_stops_are_numbered_from_1_and_added_ones_follow(planner, technician):
    first, second, third = (an_equipped_point(tag) for tag in ("LT-1", "LT-2", "LT-3"))
    made = rounds.plan(
        [first, second], name="Quay", starts_on=TODAY, ends_on=TODAY, technician=technician,
        by=planner, at=NOON,
    )  # fmt: skip
    assert places(made) == [1, 2]
    rounds.add(made, [third], by=planner)
    assert places(made) == [1, 2, 3]
