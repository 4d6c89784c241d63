"""Work on many instruments block by block, on all processor cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from typing import Any, TypeVar

import numpy as np

S = TypeVar("S")
T = TypeVar("T")
BLOCK = 2048  # columns whose working arrays stay in a processor's cache


def blocks(n: int, size: int = BLOCK) -> Iterator[slice]:
    """Slices that cover n columns; of none one empty slice, so that its shapes are known."""
    return (slice(at, min(at + size, n)) for at in range(0, max(n, 1), size))


def map_blocks(work: Callable[[slice], T], n: int, size: int = BLOCK) -> list[T]:
    """What ``work`` gives for each block of n columns, in their order."""
    return map_parallel(work, list(blocks(n, size)))


def map_parallel(work: Callable[[S], T], parts: Sequence[S]) -> list[T]:
    """What ``work`` gives for each part, in their order; all cores at it, as NumPy lets them."""
    if len(parts) < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(work, parts))


def columns_of(values: np.ndarray, which: Any) -> np.ndarray:
    """Some along the last axis: a slice, a mask, or places, which an index would find slowly."""
    if isinstance(which, slice | int):
        return values[..., which]
    places = np.asarray(which)
    return values.take(np.flatnonzero(places) if places.dtype == bool else places, axis=-1)


def concatenate(parts: Sequence[T]) -> T:
    """One dataclass or named tuple of arrays from those of the blocks, along the last axis."""
    first: Any = parts[0]
    if len(parts) == 1:
        return parts[0]
    names = getattr(first, "_fields", None) or [field.name for field in fields(first)]
    columns = [[getattr(part, name) for part in parts] for name in names]
    together = (
        np.concatenate(column, axis=-1)
        if isinstance(column[0], np.ndarray)
        else concatenate(column)
        for column in columns
    )
    made: T = type(first)(*together)
    return made
