"""Work on many instruments, block by block."""

from __future__ import annotations

import os
import threading

import numpy as np
import pytest

from calibration.metrology.blocks import blocks, map_blocks, map_parallel


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core works on one part at a time")
def test_two_parts_are_worked_on_at_the_same_time():
    both_at_work = threading.Barrier(2, timeout=10)

    def work(part: int) -> int:
        both_at_work.wait()
        return 10 * part

    assert map_parallel(work, [1, 2]) == [10, 20]


def test_one_part_is_worked_on_where_it_is_asked_for():
    assert map_parallel(lambda _: threading.current_thread(), [1]) == [threading.current_thread()]


def test_blocks_cover_every_column_once_and_answers_keep_their_order():
    columns = np.arange(10)
    assert [columns[part].tolist() for part in blocks(10, 4)] == [
        [0, 1, 2, 3],
        [4, 5, 6, 7],
        [8, 9],
    ]
    assert map_blocks(lambda part: int(columns[part].sum()), 10, 4) == [6, 22, 17]


def test_of_no_columns_there_is_one_empty_block_whose_answers_have_shapes():
    assert map_blocks(lambda part: np.zeros((3, 0))[:, part].shape, 0) == [(3, 0)]
