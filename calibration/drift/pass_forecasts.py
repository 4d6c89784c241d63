"""The chance of passing forecast for each as found from the results before it, and what passed.

The functions are those that judge a point today (trends.judge); only the results are cut short.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from calibration.drift.histories import families_of, histories_of
from calibration.drift.results import Points, Results, points_of, results_of
from calibration.drift.verdicts import tests_of, verdicts_of
from calibration.metrology.forecast import is_dated
from calibration.metrology.wander import outlook
from calibration.records.models import Calibration

FEWEST_BEFORE = 2  # results before one is forecast
MOST = 1500  # results forecast at once, the latest of each point first
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 1.0)


class PassForecasts(NamedTuple):
    """One place a result: the chance of passing forecast for its day, and whether it passed."""

    chance: np.ndarray
    passed: np.ndarray


class Bin(NamedTuple):
    """Results whose chance was forecast from ``low`` to ``high``: how many, their mean chance, and
    the share that passed.
    """

    low: float
    high: float
    results: int
    chance: float
    passed: float

    @property
    def words(self) -> str:
        low, high = (f"{100 * edge:.0f}" for edge in (self.low, self.high))
        if self.low == 0:
            return f"under {high}"
        return f"{low} to {high}" if self.high < 1 else f"{low} and more"


NOTHING = PassForecasts(np.zeros(0), np.zeros(0, dtype=bool))


def pass_forecasts_of(point_ids: Iterable[int]) -> PassForecasts:
    """Walk forward through the standing results of these points; four queries.

    They go by today's rates of the families; whatever began a new history (a repair, a transmitter
    found dead) is left out, as every forecast on a page excepts it.
    """
    points = points_of(list(point_ids))
    results = results_of(points)
    if not len(results):
        return NOTHING
    rows = _forecastable(results)
    cut_points, cut = _cut_short(points, results, rows)
    histories = histories_of(cut_points, cut) if rows.size else None
    if histories is None:
        return NOTHING
    prior, families = families_of(histories, cut_points)
    fit = outlook(histories.core, prior)
    own = tests_of(cut_points, cut)
    verdicts = verdicts_of(cut_points, histories, fit, is_dated(fit), own, families)
    if verdicts is None:
        return NOTHING
    row = rows[verdicts.place]
    later = results.day[row] > verdicts.day
    chance = verdicts.chance(results.day[row])
    return PassForecasts(chance[later], _passed(results.record[row[later]]))


def _forecastable(results: Results) -> np.ndarray:
    """Rows with enough results of their point before them and an as found at both ends."""
    first = np.searchsorted(results.point, results.point)
    before = np.arange(len(results)) - first
    known = ~(np.isnan(results.found).any(axis=0) | results.begins | results.fresh.any(axis=0))
    rows = np.flatnonzero(known & (before >= FEWEST_BEFORE))
    from_last = np.searchsorted(results.point, results.point, side="right") - np.arange(
        len(results)
    )
    latest = np.argsort(from_last[rows], kind="stable")[:MOST]
    return np.sort(rows[latest])


def _cut_short(points: Points, results: Results, rows: np.ndarray) -> tuple[Points, Results]:
    """For each of these rows its point once more, with the results before that row alone."""
    place = np.searchsorted(points.id, results.point[rows])
    numbers = np.arange(len(rows))
    columns = {each.name: getattr(points, each.name) for each in fields(points)}
    again = {name: values[place] for name, values in columns.items() if name != "product_changes"}
    first = np.searchsorted(results.point, results.point[rows])
    counts = rows - first
    whose = np.repeat(numbers, counts)
    kept = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts) + first[whose]
    cut = {each.name: getattr(results, each.name)[..., kept] for each in fields(results)}
    return (
        Points(**again | {"id": numbers}, product_changes={}),
        replace(Results(**cut), point=whose),
    )


def _passed(records: np.ndarray) -> np.ndarray:
    known = Calibration.objects.filter(pk__in=records.tolist(), found_verdict="pass")
    return np.isin(records, list(known.values_list("pk", flat=True)))


def bins_of(forecasts: PassForecasts) -> list[Bin]:
    """By EDGES, those without a result left out."""
    inner = np.digitize(forecasts.chance, EDGES[1:-1])
    bins = []
    for n, (low, high) in enumerate(pairwise(EDGES)):
        mine = inner == n
        if mine.any():
            shares = forecasts.chance[mine].mean(), forecasts.passed[mine].mean()
            bins.append(Bin(low, high, int(mine.sum()), *map(float, shares)))
    return bins
