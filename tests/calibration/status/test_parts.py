"""Parts that complete each other: worked out in Python for what is not approved yet, in the
database for what is.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from calibration.status.reads import Part, complete_days
from calibration.status.results import CompleteResult, CurrentRecord
from tests.makers import an_equipped_point, an_unsaved_record

DAY = dt.date(2026, 1, 1)


def on(days: int, *, output: bool = True, primary: bool = True) -> Part:
    return Part(DAY + dt.timedelta(days), output, primary)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([on(0)], [0]),
        ([on(0, primary=False)], []),
        ([on(0, primary=False), on(30, output=False)], [0]),
        ([on(0, primary=False), on(31, output=False)], []),
        ([on(5, output=False), on(0, primary=False)], [0]),
        ([on(31, output=False), on(0, primary=False)], []),
        ([on(0), on(20, primary=False), on(366)], [0, 0, 366]),
    ],
)
def test_the_interval_counts_from_the_older_of_two_parts_close_together(parts, expected):
    days = complete_days(parts, within_days=30)
    assert days == [DAY + dt.timedelta(day) for day in expected]


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(6))
def test_the_database_says_the_same(site, seed):
    rng = np.random.default_rng(seed)
    point = an_equipped_point()
    device = point.installations.get().transmitter
    for day in sorted(rng.choice(400, 12, replace=False).tolist()):
        output, primary = [(True, False), (False, True), (True, True)][rng.integers(3)]
        an_unsaved_record(
            point,
            DAY + dt.timedelta(day),
            device,
            lower=point.lower,
            upper=point.upper,
            covers_output=output,
            covers_primary=primary,
            is_check=bool(rng.random() < 0.2),
            left_verdict="fail" if rng.random() < 0.2 else "pass",
        ).save()
    rows = CurrentRecord.objects.parts().filter(point=point)
    parts = [Part(row.done_on, row.covers_output, row.covers_primary) for row in rows]
    stored = CompleteResult.objects.filter(point=point).order_by("done_on")
    assert [row.counts_from for row in stored] == complete_days(parts, within_days=30)
