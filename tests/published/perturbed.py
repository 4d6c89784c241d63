"""Whether the published checks test what they claim: ``python -m tests.published.perturbed``.

Each expected number is moved by 30 units of the last digit that its source is trusted for, and the
tests that read its entry are run again: one of them must fail. What none notices is printed, but for
what NOT_TESTED names with the reason.
"""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from tests.published import reference as published

UNITS = 30
# Numbers that nothing here computes: names, copies of inputs, notes. Beginnings of their places.
NOT_TESTED: dict[str, str] = {
    "CAP-01.standard_uncertainty": "of the constant itself, which is taken as known",
    "INT-09.free_running_line": "the ordinary line, which is not drawn, for comparison",
    "SIG-02.cases": "the current that is asked about; its answer is a word",
    "TRD-02.error_pct_span_of_wrong_ohm.0.0": "the current that is asked about",
    "TRM-02.continuous.zero_based": "the limit of ever more points; 101 come within 2e-4",
    "UNC-02.more_digits.second_order": "terms that go into a sum, in which the second hardly counts",
}
# Printed with fewer digits than the rest of its entry.
PRINTED = {"INT-09.through_origin.days_after_last_until_band_meets_tolerance": 6}

Place = tuple[str | int, ...]


def numbers_in(value: Any, place: Place = ()) -> Iterator[Place]:
    """The places of all numbers in an expected value."""
    pairs: Any = ()
    if isinstance(value, dict):
        pairs = value.items()
    elif isinstance(value, list):
        pairs = enumerate(value)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield place
    for key, part in pairs:
        yield from numbers_in(part, (*place, key))


def moved(value: float, digits: int | str) -> float:
    """The number, 30 units of its last trusted digit away."""
    trusted = 13 if digits == "exact" else int(digits)
    size = math.floor(math.log10(abs(value))) if value else 0
    return value + UNITS * 10.0 ** (size - trusted + 1)


class _Walk:
    """Runs the tests once to see which entries each reads, then again for each moved number."""

    def __init__(self) -> None:
        self.unnoticed: list[str] = []
        self.count = 0

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        readers = self._readers(session.items)
        for name, entry in published._entries().items():
            for place in numbers_in(entry["expected"]):
                self.count += 1
                where = ".".join(map(str, (name, *place)))
                digits = PRINTED.get(where, entry["digits"])
                is_noticed = self._is_noticed(entry["expected"], place, digits, readers[name])
                if not is_noticed and not where.startswith(tuple(NOT_TESTED)):
                    self.unnoticed.append(where)
        return True

    def _readers(self, items: list[pytest.Item]) -> dict[str, list[pytest.Item]]:
        readers: dict[str, list[pytest.Item]] = defaultdict(list)
        entries = published._entries()
        for item in items:
            read: set[str] = set()
            known = _Noted(entries, read)
            published._entries = lambda known=known: known  # type: ignore[assignment]
            runtestprotocol(item, log=False)
            for name in read:
                readers[name].append(item)
        published._entries = lambda: entries  # type: ignore[assignment]
        return readers

    def _is_noticed(
        self, holder: Any, place: Place, digits: int | str, readers: list[pytest.Item]
    ) -> bool:
        for key in place[:-1]:
            holder = holder[key]
        true = holder[place[-1]]
        holder[place[-1]] = moved(true, digits)
        try:
            return any(
                report.failed for item in readers for report in runtestprotocol(item, log=False)
            )
        finally:
            holder[place[-1]] = true


class _Noted(dict):
    def __init__(self, entries: dict, read: set[str]) -> None:
        super().__init__(entries)
        self._read = read

    def __getitem__(self, name: str) -> Any:
        self._read.add(name)
        return super().__getitem__(name)


def main() -> int:
    walk = _Walk()
    folder = str(published.FOLDER.parents[1] / "tests" / "published")
    pytest.main(["-q", "-p", "no:cacheprovider", folder], plugins=[walk])
    known = f"{len(NOT_TESTED)} places are named as not tested"
    lines = [*walk.unnoticed, f"{len(walk.unnoticed)} of {walk.count} go unnoticed; {known}."]
    sys.stdout.write("\n".join(lines) + "\n")
    return 1 if walk.unnoticed else 0


if __name__ == "__main__":
    sys.exit(main())
