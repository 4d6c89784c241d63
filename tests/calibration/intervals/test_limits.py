"""What the figures of a proposal allow, and what kept it shorter, out of its stored reasons."""

from __future__ import annotations

import pytest

from calibration.intervals.limits import LIMITS, Limit, limit_of
from plant.quantities import SPACE

TARGET = {"target": 0.95, "probability": 0.96, "years": 2.0}
FAMILY = {"says": "reliability", "target": 0.9}
CASES = [
    ([{"says": "target", **TARGET}], 24, Limit("24", "target 95 %")),
    (
        [{"says": "end", "end": "span"}, {"says": "lengthening limited", "wanted": 3.04, **TARGET}],
        24,
        Limit("36", "the most for one change"),
    ),
    ([{"says": "upper bound", "upper": 5.0}], 60, Limit("over 60", "longest interval allowed")),
    (
        [{"says": "target not reached at lower bound", "lower": 0.25}],
        3,
        Limit("under 3", "shortest interval allowed"),
    ),
    (
        [{"says": "staircase in", "percent": 20.0}],
        14,
        Limit("14", "one stair of 20 %: last as found in"),
    ),
    (
        [{"says": "staircase out", "percent": 45.0}],
        7,
        Limit("7", "one stair of 45 %: last as found out"),
    ),
    ([FAMILY | {"months": 18.6}], 18, Limit("18", "target 90 % of the family")),
    ([FAMILY | {"months": 40.0}], 24, Limit("40", "a limit of the policy")),
    ([FAMILY | {"months": None}], 24, Limit("", "target 90 % of the family")),
    ([{"says": "rate", "rate": 0.1}], 24, Limit("", "")),
    ([], 24, Limit("", "")),
]


@pytest.mark.parametrize(("parts", "months", "expected"), CASES)
def test_each_reason_says_what_it_allows_and_what_limits(parts, months, expected):
    found = limit_of(parts, months=months)
    assert Limit(*(text.replace(SPACE, " ") for text in found)) == expected


def test_every_kind_of_limit_is_tried_above():
    tried = {part["says"] for parts, _, _ in CASES for part in parts}
    assert set(LIMITS) <= tried
