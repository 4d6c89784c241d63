"""The status of many points at once: by a pass over the fleet, an import, a changed policy."""

import datetime as dt
import time

import pytest
from django.db import connection

from tests.bench import fleet

pytestmark = pytest.mark.django_db

POINTS = 3000


def seconds_for(share: int) -> float:
    """The least of three, for one point in so many."""
    taken = []
    with connection.cursor() as cursor:
        for _ in range(3):
            start = time.perf_counter()
            cursor.execute(
                "SELECT settle_status(array(SELECT id FROM plant_measuringpoint WHERE id %% %s = 0))",
                [share],
            )
            taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.parametrize(
    "reason",
    [
        "SELECT",
        "UPDATE calibration_trend SET doubt_on = '2026-01-01'",
        "UPDATE calibration_job SET why = 'request', state = 'approved'",
    ],
)
def test_the_time_for_the_status_of_many_points_grows_with_them_not_with_their_square(reason):
    fleet.fill(POINTS, day=dt.date(2026, 11, 2), records=4)
    with connection.cursor() as cursor:
        cursor.execute(reason)
    assert seconds_for(1) < 6 * seconds_for(4)
