"""The computation of a pass, chunk by chunk: families fitted, trends stored, jumps questioned,
intervals proposed.
"""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from django.db import connection, transaction

from calibration.arrays import BigInts, execute
from calibration.drift import trends
from calibration.drift.histories import ENDS, SHAPE, EndHistories, histories_of
from calibration.drift.models import JumpQuestion
from calibration.drift.results import Points, Results, points_of, results_of
from calibration.drift.verdicts import tests_of
from calibration.families.models import Family
from calibration.intervals import methods
from calibration.metrology.causes import Cause, diagnose
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.fleet_fit import FleetFit, fit_fleet
from calibration.metrology.shapes import FamilyShapes, OwnTests, alone, fit_shapes
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
        # One result is enough for a staircase, and what was proposed before may no longer hold.
        made = methods.make(points, results, methods.policies_of(points), [], at=at)
        return Renewed(len(points), 0, made)
    fit = fit_fleet(
        histories.core,
        _members(points, histories),
        histories.size,
        counted=histories.marked(results.counted),
        together=points.family[histories.place],
    )
    questions = _question(fit, histories, points, results, at)
    own = tests_of(points, results)
    shapes = _shapes(points, own)
    _store_families(points, histories, fit, shapes, at)
    judgement = trends.judge(points, histories.with_core(fit.histories), fit.prior, own, shapes)
    policies = methods.policies_of(points)
    with ThreadPoolExecutor(1) as beside:  # the arithmetic goes on while the database writes
        choices = beside.submit(methods.by_drift, points, policies, judgement)
        trends.store(points, results, judgement)
        if questions:  # a bad reading is set aside whole, which its increments alone do not show
            trends.refit(np.unique(points.id[histories.place[fit.flags.any(axis=0)]]).tolist())
    made = methods.make(points, results, policies, choices.result(), at=at)
    return Renewed(len(points), questions, made)


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
    fit: FleetFit, histories: EndHistories, points: Points, results: Results, at: dt.datetime
) -> int:
    """A question for the cause of each new jump; one that was asked before is not asked again."""
    jumps, questions = fit.jumps, []
    for increment, column in np.argwhere(fit.flags).tolist():
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
    fit: FleetFit,
    shapes: FamilyShapes,
    at: dt.datetime,
) -> None:
    """The prior of each family, from the first of its members at each end; and how forecasts
    held.
    """
    made, held = fit.forecasts.tested.sum(axis=0), fit.forecasts.inside().sum(axis=0)
    ids = points.family[histories.place]
    of = ids[fit.fitted]
    rows = []
    for family in np.unique(ids[ids > 0]).tolist():
        mine = np.flatnonzero(ids == family)
        row = Family(pk=family, fitted_at=at)
        row.members = int(np.unique(histories.place[mine]).size)
        row.tolerance_percent = float(np.median(histories.size[mine]))
        row.forecasts, row.forecasts_held = (
            int(made[of == family].sum()),
            int(held[of == family].sum()),
        )
        _set_shape(row, shapes, int(histories.place[mine[0]]))
        for end, name in enumerate(ENDS):
            column = next(iter(mine[histories.end[mine] == end].tolist()), None)
            _set_prior(row, name, fit.prior, column)
        rows.append(row)
    names = [f"{end}_{name}" for end in ENDS for name in (*PRIOR, "weights")]
    names += [*SHAPE, "members", "tolerance_percent", "forecasts", "forecasts_held", "fitted_at"]
    Family.objects.bulk_update(rows, names)


PRIOR = ("rate", "spread", "mean_sd")


def _shapes(points: Points, own: OwnTests) -> FamilyShapes:
    """Shapes of the family of each point; the wide default where it has too few members."""
    key = np.where(points.family > 0, points.family, -points.id)
    _, first, family = np.unique(key, return_index=True, return_inverse=True)
    fitted = fit_shapes(own, family, points.size[first]).of(family)
    few = fitted.members <= FEWEST_OTHERS
    default = alone(points.size)
    return FamilyShapes(
        np.where(few, default.mean, fitted.mean),
        np.where(few, default.between, fitted.between),
        np.where(few, default.within, fitted.within),
        np.where(few, 0, fitted.members),
    )


def _set_shape(row: Family, shapes: FamilyShapes, place: int) -> None:
    """Empty where the family has too few members to give one."""
    is_given = shapes.members[place] > 0
    for name in SHAPE:
        values = getattr(shapes, name.removeprefix("shape_"))[:, place]
        setattr(row, name, values.tolist() if is_given else [])


def _set_prior(row: Family, end: str, prior: Prior, column: int | None) -> None:
    """None where the family has too few members to give one."""
    is_given = column is not None and prior.others[column] >= FEWEST_OTHERS
    for name in PRIOR:
        setattr(row, f"{end}_{name}", float(getattr(prior, name)[column]) if is_given else None)
    setattr(row, f"{end}_weights", prior.weights[:, column].tolist() if is_given else [])
