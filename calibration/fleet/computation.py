"""The computation of a pass, chunk by chunk: families fitted, trends stored, jumps questioned,
intervals proposed.
"""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from django.db import connection, transaction

from calibration.arrays import BigInts, execute
from calibration.drift import trends
from calibration.drift.histories import ENDS, EndHistories, histories_of
from calibration.drift.models import JumpQuestion
from calibration.drift.results import Points, Results, points_of, results_of
from calibration.families.models import SAMPLE, Family
from calibration.intervals import methods
from calibration.metrology.backtest import Backtest, backtest
from calibration.metrology.causes import Cause, diagnose
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.jumps import Jumps, fit_without_jumps, flag_jumps
from calibration.metrology.wander import Prior


@dataclass(frozen=True)
class Renewed:
    """How much a chunk held, and what is new."""

    points: int
    jumps: int
    proposals: int


@transaction.atomic
def renew(point_ids: list[int], *, at: dt.datetime) -> Renewed:
    """Fit the families of these points (given whole), store trends, ask about new jumps, propose
    intervals.
    """
    points = points_of(point_ids)
    results = results_of(points)
    _forget_trends_of_others(points)
    histories = histories_of(points, results)
    if histories is None:
        trends.store(points, results, None)
        return Renewed(len(points), 0, 0)
    family = _members(points, histories)
    some = _sample(family)
    jumps = flag_jumps(histories.core, _fit(histories, family, some))
    flags = jumps.flags & ~histories.marked(results.counted)
    questions = _question(flags, jumps, histories, points, results, at)
    # Jumps too: they came.
    forecasts = backtest(histories.core.columns(some), jumps.prior.of(some))
    _store_families(points, histories, jumps.prior, some, forecasts, at)
    judgement = trends.judge(points, _without_jumps(histories, jumps, flags), jumps.prior)
    policies = methods.policies_of(points)
    with ThreadPoolExecutor(1) as beside:  # the arithmetic goes on while the database writes
        choices = beside.submit(methods.by_drift, points, policies, judgement)
        trends.store(points, results, judgement)
        if questions:  # a bad reading is set aside whole, which its increments alone do not show
            trends.refit(np.unique(points.id[histories.place[flags.any(axis=0)]]).tolist())
    made = methods.make(points, results, policies, choices.result(), at=at)
    return Renewed(len(points), questions, made)


def _without_jumps(histories: EndHistories, jumps: Jumps, flags: np.ndarray) -> EndHistories:
    """The histories without these increments; of a bad reading without both, there and back."""
    both = flags.copy()
    both[1:] |= flags[:-1] & jumps.returns[:-1]
    return histories.with_core(histories.core.without(both))


def _sample(family: np.ndarray) -> np.ndarray:
    """Columns of some members of each family, evenly taken: of a large one they stand for all."""
    order = np.argsort(family, kind="stable")
    first = np.searchsorted(family[order], np.arange(family.max() + 2))
    some = [
        order[low + np.arange(min(high - low, SAMPLE)) * (high - low) // min(high - low, SAMPLE)]
        for low, high in pairwise(first.tolist())
    ]
    return np.sort(np.concatenate(some))


def _fit(histories: EndHistories, family: np.ndarray, some: np.ndarray) -> Prior:
    """The prior that each column's family gives, fitted to some of its members."""
    fitted = fit_without_jumps(
        histories.core.columns(some), family[some], histories.tolerance[some]
    )
    is_fitted = fitted.others > 0
    return replace(fitted, others=np.where(is_fitted, np.bincount(family) - 1, 0)).of(family)


def _members(points: Points, histories: EndHistories) -> np.ndarray:
    """A number for each family and end; a point without a family is one of its own."""
    family = points.family[histories.place]
    key = 2 * np.where(family > 0, family, -points.id[histories.place]) + histories.end
    return np.asarray(np.unique(key, return_inverse=True)[1])


def _forget_trends_of_others(points: Points) -> None:
    """A trend belongs to the transmitter that was there; after a swap it says nothing."""
    with connection.cursor() as cursor:
        execute(
            cursor,
            "DELETE FROM calibration_trend t USING unnest(%s, %s) n (point_id, transmitter_id)"
            " WHERE t.point_id = n.point_id AND t.transmitter_id <> n.transmitter_id",
            [BigInts.of(points.id), BigInts.of(points.transmitter)],
        )


def _question(
    flags: np.ndarray,
    jumps: Jumps,
    histories: EndHistories,
    points: Points,
    results: Results,
    at: dt.datetime,
) -> int:
    """A question for the cause of each new jump; one that was asked before is not asked again."""
    questions = []
    for increment, column in np.argwhere(flags).tolist():
        likely = diagnose(histories.core, jumps.prior, column, increment)
        row = histories.row_of(likely.visit, column)
        point = points[histories.place[column]]
        questions.append(
            JumpQuestion(
                site_id=point.site_id,
                point_id=point.point_id,
                record_id=int(results.record[row]),
                end=ENDS[histories.end[column]],
                size_percent=float(jumps.size[increment, column]),
                chance=float(jumps.p_value[column]),
                kind=KIND_OF[likely.cause],
                raised_at=at,
            )
        )
    before = JumpQuestion.objects.count()
    JumpQuestion.objects.bulk_create(questions, ignore_conflicts=True)
    return JumpQuestion.objects.count() - before


# As the database keeps them.
KIND_OF = {Cause.JUMP: "step", Cause.BAD_READING: "bad reading", Cause.EITHER: "either"}


def _store_families(
    points: Points,
    histories: EndHistories,
    prior: Prior,
    some: np.ndarray,
    forecasts: Backtest,
    at: dt.datetime,
) -> None:
    """The prior of each family, from the first of its members at each end; and how forecasts of
    some columns held.
    """
    made, held = forecasts.tested.sum(axis=0), forecasts.inside().sum(axis=0)
    ids = points.family[histories.place]
    of = ids[some]
    rows = []
    for family in np.unique(ids[ids > 0]).tolist():
        mine = np.flatnonzero(ids == family)
        row = Family(pk=family, fitted_at=at)
        row.members = int(np.unique(histories.place[mine]).size)
        row.tolerance_percent = float(np.median(histories.tolerance[mine]))
        row.forecasts, row.forecasts_held = (
            int(made[of == family].sum()),
            int(held[of == family].sum()),
        )
        for end, name in enumerate(ENDS):
            column = next(iter(mine[histories.end[mine] == end].tolist()), None)
            _set_prior(row, name, prior, column)
        rows.append(row)
    names = [f"{end}_{name}" for end in ENDS for name in (*PRIOR, "weights")]
    names += ["members", "tolerance_percent", "forecasts", "forecasts_held", "fitted_at"]
    Family.objects.bulk_update(rows, names)


PRIOR = ("rate", "spread", "mean_sd")


def _set_prior(row: Family, end: str, prior: Prior, column: int | None) -> None:
    """None where the family has too few members to give one."""
    is_given = column is not None and prior.others[column] >= FEWEST_OTHERS
    for name in PRIOR:
        setattr(row, f"{end}_{name}", float(getattr(prior, name)[column]) if is_given else None)
    setattr(row, f"{end}_weights", prior.weights[:, column].tolist() if is_given else [])
