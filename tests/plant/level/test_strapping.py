import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.level import tanks
from plant.level.bounds import OutsideTank
from plant.level.strapping import BadStrapping, Strapping

TABLE = Strapping([0.0, 0.5, 1.5, 2.0], [0.0, 10.0, 34.0, 40.0])


def test_volume_and_height_lie_on_the_line_between_two_rows():
    assert TABLE.volume_at([0.25, 1.0, 1.5]).tolist() == [5.0, 22.0, 34.0]
    assert TABLE.height_at([5.0, 22.0, 34.0]).tolist() == [0.25, 1.0, 1.5]
    assert type(TABLE.volume_at(1.0)) is float


@given(share=st.floats(0, 1))
def test_height_of_a_volume_holds_that_volume(share):
    volume = 40 * share
    assert TABLE.volume_at(TABLE.height_at(volume)) == pytest.approx(volume, abs=1e-12)


def test_table_serves_wherever_a_shape_does():
    assert tanks.capacity(TABLE) == 40.0
    assert tanks.inside_height(TABLE) == 2.0
    assert tanks.volume_at(TABLE, 1.0) == 22.0
    assert tanks.height_at(TABLE, 22.0) == 1.0


def test_beyond_the_first_and_last_row_nothing_is_known():
    table = Strapping([0.2, 1.0], [3.0, 9.0])
    for height in (0.1, 1.1, math.nan):
        with pytest.raises(OutsideTank, match=r"height .* from 0\.2 to 1 m"):
            table.volume_at(np.array([0.5, height]))
    for volume in (2.9, 9.1):
        with pytest.raises(OutsideTank, match="from 3 to 9 m³"):
            table.height_at(volume)


def test_rows_that_hold_the_same_give_the_lowest_height():
    table = Strapping([0.0, 0.1, 0.2, 0.4, 0.6], [0.0, 0.0, 1.0, 1.0, 2.0])
    assert table.height_at([0.0, 0.5, 1.0, 1.5]).tolist() == pytest.approx([0.0, 0.15, 0.2, 0.5])


@pytest.mark.parametrize(
    ("heights", "volumes", "row", "reason"),
    [
        ([0, 1, 1], [0, 5, 6], 3, "height 1 m is not above the 1 m"),
        ([0, 2, 1], [0, 5, 6], 3, "height 1 m is not above the 2 m"),
        ([0, 1, 2], [0, 5, 4], 3, "volume 4 m³ is less than the 5 m³"),
        ([0, 1, 2], [0, math.nan, 4], 2, "must be numbers"),
        ([-1, 1, 2], [0, 2, 4], 1, "zero or above"),
        ([0, 1], [0], None, "2 heights and 1 volumes"),
        ([0], [0], None, "at least two rows"),
        ([0, 1], [3, 3], None, "it must grow"),
    ],
)
def test_table_that_cannot_be_right_is_refused_with_its_row(heights, volumes, row, reason):
    with pytest.raises(BadStrapping, match=reason) as refusal:
        Strapping(heights, volumes)
    assert refusal.value.row == row
