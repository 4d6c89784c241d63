"""One pass over the fleet: families fitted, trends stored, steps questioned, intervals proposed.

Only where something changed since the last pass: a changed point stirs its family, and the family
all its members. Taken up again after a kill: each chunk is a transaction, and a run without a sign
of life for long is done anew.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from django.db import connection, transaction

from calibration.arrays import BigInts, execute
from calibration.drift import trends
from calibration.drift.histories import ENDS, Told, told_of
from calibration.drift.models import StepQuestion
from calibration.drift.results import Points, Results, points_of, results_of
from calibration.families.models import SAMPLE, Family
from calibration.families.reads import KEY, count_results, ensure_families
from calibration.fleet.models import FleetRun
from calibration.intervals import methods
from calibration.metrology.backtest import Backtest, backtest
from calibration.metrology.causes import Cause, diagnose
from calibration.metrology.families import FEWEST_OTHERS
from calibration.metrology.jumps import Jumps, fit_without_jumps, flag_jumps
from calibration.metrology.wander import Prior
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.sites.models import Site

CHUNK = 20_000
LOST = dt.timedelta(minutes=15)
Clock = Callable[[], dt.datetime]


def ask(site: Site, *, by: Person, at: dt.datetime) -> FleetRun:
    """Have everything computed again, changed or not; the next tick begins it."""
    require(by, "plan", site.pk)
    with transaction.atomic():
        run = FleetRun.objects.create(started_at=at, alive_at=at - LOST)
        enter("compute fleet again", on=run, site=site, by=by)
    return run


def run(*, clock: Clock, nightly: bool) -> FleetRun | None:
    """The pass that waits; of a night also one for what changed. None: nothing to do, or another is
    at it.

    A pass that was asked for, or lost half way, computes everything.
    """
    now = clock()
    with transaction.atomic():
        taken = _take(now, nightly=nightly)
        if taken is None:
            return None
        everything = taken.started_at < now
    parts = list(chunks(None if everything else _last_finished(taken)))
    if not parts and not everything:
        taken.delete()
        return None
    taken.points, taken.done = sum(len(ids) for ids in parts), 0
    taken.save(update_fields=["points", "done"])
    for ids in parts:
        _do(taken, ids, clock)
    count_results()
    taken.finished_at = taken.alive_at = clock()
    taken.save(update_fields=["finished_at", "alive_at"])
    return taken


def _take(now: dt.datetime, *, nightly: bool) -> FleetRun | None:
    """A run that waits or was lost; else, of a night, a new one, unless one is alive."""
    waiting = FleetRun.objects.select_for_update(skip_locked=True).filter(finished_at=None)
    lost = waiting.filter(alive_at__lte=now - LOST).order_by("id").first()
    if lost:
        lost.alive_at, lost.points = now, 0
        lost.save(update_fields=["alive_at", "points"])
        return lost
    if not nightly or FleetRun.objects.filter(finished_at=None).exists():
        return None
    return FleetRun.objects.create(started_at=now, alive_at=now)


def _last_finished(taken: FleetRun) -> dt.datetime | None:
    before = FleetRun.objects.exclude(finished_at=None).exclude(pk=taken.pk)
    last = before.filter(trouble="").order_by("-started_at").first()
    return last.started_at if last else None


def _do(taken: FleetRun, ids: list[int], clock: Clock) -> None:
    try:
        told = renew(ids, at=clock())
    except Exception as trouble:
        taken.trouble, taken.finished_at = f"{type(trouble).__name__}: {trouble}", clock()
        taken.save(update_fields=["trouble", "finished_at"])
        raise
    taken.done += len(ids)
    taken.proposals += told.proposals
    taken.steps += told.steps
    taken.alive_at = clock()
    taken.save(update_fields=["done", "proposals", "steps", "alive_at"])


# ---- what changed ----
PLACED = """
    FROM plant_measuringpoint p
    JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
    JOIN plant_transmitter t ON t.id = i.transmitter_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
"""
# By the times that the database itself notes: of rows that came in, and of former versions kept.
CHANGED = """
    WITH changed AS (
        SELECT table_name, row_id FROM plant_rowhistory WHERE at >= %(since)s
            AND table_name IN ('calibration_calibration', 'plant_installation', 'plant_measuringpoint',
                'calibration_stepquestion', 'plant_productchange', 'calibration_policy', 'plant_tank')
    )
    SELECT point_id FROM calibration_calibration r
        WHERE (entered_at >= %(since)s AND state = 'approved')
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_calibration')
    UNION SELECT point_id FROM plant_installation WHERE entered_at >= %(since)s
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'plant_installation')
    UNION SELECT id FROM plant_measuringpoint WHERE entered_at >= %(since)s
        OR id IN (SELECT row_id FROM changed WHERE table_name = 'plant_measuringpoint')
    UNION SELECT point_id FROM calibration_stepquestion
        WHERE id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_stepquestion')
    UNION SELECT p.id FROM plant_measuringpoint p WHERE p.tank_id IN (
        SELECT tank_id FROM plant_productchange WHERE entered_at >= %(since)s
        UNION SELECT row_id FROM changed WHERE table_name = 'plant_tank')
    UNION SELECT p.id FROM plant_measuringpoint p JOIN calibration_policy y
        ON y.point_id = p.id OR (y.site_id = p.site_id AND y.duty = p.duty)
        WHERE y.entered_at >= %(since)s
        OR y.id IN (SELECT row_id FROM changed WHERE table_name = 'calibration_policy')
    UNION SELECT (before->>'point_id')::bigint FROM plant_rowhistory
        WHERE at >= %(since)s AND table_name = 'calibration_policy' AND act = 'delete' AND before->>'point_id' <> ''
"""
MEMBERS = f"""
    SELECT f.id, array_agg(p.id) {PLACED} JOIN calibration_family f ON f.key = {KEY}
    WHERE EXISTS (SELECT 1 FROM calibration_calibration r WHERE r.point_id = p.id AND r.state = 'approved')
    GROUP BY 1 %s ORDER BY 1
"""  # noqa: S608 - parts written above


def chunks(since: dt.datetime | None) -> Iterator[list[int]]:
    """Points of whole families, some families together; a family is never split."""
    ensure_families()
    with connection.cursor() as cursor:
        if since is None:
            cursor.execute(MEMBERS % "")
        else:
            stirred = f"HAVING bool_or(p.id IN ({CHANGED}))"
            cursor.execute(MEMBERS % stirred, {"since": since})
        families = cursor.fetchall()
    chunk: list[int] = []
    for _, ids in families:
        if chunk and len(chunk) + len(ids) > CHUNK:
            yield sorted(chunk)
            chunk = []
        chunk += ids
    if chunk:
        yield sorted(chunk)


# ---- the pass ----
@dataclass(frozen=True)
class Renewed:
    points: int
    steps: int
    proposals: int


@transaction.atomic
def renew(point_ids: list[int], *, at: dt.datetime) -> Renewed:
    """Fit the families of these points (given whole), store trends, ask about new steps, propose
    intervals.
    """
    points = points_of(point_ids)
    results = results_of(points)
    _forget_trends_of_others(points)
    told = told_of(points, results)
    if told is None:
        trends.store(points, results, None)
        return Renewed(len(points), 0, 0)
    family = _members(points, told)
    some = _sample(family)
    jumps = flag_jumps(told.histories, _fit(told, family, some))
    fresh = jumps.flags & ~told.marked(results.counted)
    asked = _question(fresh, jumps, told, points, results, at)
    both = fresh.copy()
    both[1:] |= fresh[:-1] & jumps.returns[:-1]
    kept = told.with_histories(told.histories.without(both))
    # Jumps too: they came.
    foretold = backtest(told.histories.columns(some), jumps.prior.of(some))
    _store_families(points, told, jumps.prior, some, foretold, at)
    judged = trends.judge(points, kept, jumps.prior)
    policies = methods.policies_of(points)
    with ThreadPoolExecutor(1) as beside:  # the arithmetic goes on while the database writes
        choices = beside.submit(methods.by_drift, points, policies, judged)
        trends.store(points, results, judged)
        if asked:  # a bad reading is set aside whole, which its increments alone do not tell
            trends.refit(np.unique(points.id[told.place[fresh.any(axis=0)]]).tolist())
    made = methods.make(points, results, policies, choices.result(), at=at)
    return Renewed(len(points), asked, made)


def _sample(family: np.ndarray) -> np.ndarray:
    """Columns of some members of each family, evenly taken: of a large one they tell as much as
    all.
    """
    order = np.argsort(family, kind="stable")
    first = np.searchsorted(family[order], np.arange(family.max() + 2))
    some = [
        order[low + np.arange(min(high - low, SAMPLE)) * (high - low) // min(high - low, SAMPLE)]
        for low, high in pairwise(first.tolist())
    ]
    return np.sort(np.concatenate(some))


def _fit(told: Told, family: np.ndarray, some: np.ndarray) -> Prior:
    """What each column's family lends, as some of its members tell it."""
    fitted = fit_without_jumps(told.histories.columns(some), family[some], told.tolerance[some])
    lends = fitted.others > 0
    return replace(fitted, others=np.where(lends, np.bincount(family) - 1, 0)).of(family)


def _members(points: Points, told: Told) -> np.ndarray:
    """A number for each family and end; a point without a family is one of its own."""
    family = points.family[told.place]
    key = 2 * np.where(family > 0, family, -points.id[told.place]) + told.end
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
    fresh: np.ndarray, jumps: Jumps, told: Told, points: Points, results: Results, at: dt.datetime
) -> int:
    """A question for the cause of each new step; one that was asked before is not asked again."""
    questions = []
    for increment, column in np.argwhere(fresh).tolist():
        likely = diagnose(told.histories, jumps.prior, column, increment)
        row = told.row_of(likely.visit, column)
        point = points[told.place[column]]
        questions.append(
            StepQuestion(
                site_id=point.site_id,
                point_id=point.point_id,
                record_id=int(results.record[row]),
                end=ENDS[told.end[column]],
                size_percent=float(jumps.size[increment, column]),
                chance=float(jumps.p_value[column]),
                kind=KINDS[likely.cause],
                raised_at=at,
            )
        )
    before = StepQuestion.objects.count()
    StepQuestion.objects.bulk_create(questions, ignore_conflicts=True)
    return StepQuestion.objects.count() - before


# As the database keeps them.
KINDS = {Cause.JUMP: "step", Cause.BAD_READING: "bad reading", Cause.EITHER: "either"}


def _store_families(
    points: Points, told: Told, prior: Prior, some: np.ndarray, foretold: Backtest, at: dt.datetime
) -> None:
    """What each family now lends, from the first of its members at each end; and how forecasts of
    some columns held.
    """
    made, held = foretold.tested.sum(axis=0), foretold.inside().sum(axis=0)
    ids = points.family[told.place]
    of = ids[some]
    rows = []
    for family in np.unique(ids[ids > 0]).tolist():
        mine = np.flatnonzero(ids == family)
        row = Family(pk=family, fitted_at=at)
        row.members = int(np.unique(told.place[mine]).size)
        row.tolerance_percent = float(np.median(told.tolerance[mine]))
        row.forecasts, row.forecasts_held = (
            int(made[of == family].sum()),
            int(held[of == family].sum()),
        )
        for end, name in enumerate(ENDS):
            column = next(iter(mine[told.end[mine] == end].tolist()), None)
            _lend(row, name, prior, column)
        rows.append(row)
    names = [f"{end}_{name}" for end in ENDS for name in (*LENT, "weights")]
    names += ["members", "tolerance_percent", "forecasts", "forecasts_held", "fitted_at"]
    Family.objects.bulk_update(rows, names)


LENT = ("rate", "spread", "mean_sd")


def _lend(row: Family, end: str, prior: Prior, column: int | None) -> None:
    lends = column is not None and prior.others[column] >= FEWEST_OTHERS
    for name in LENT:
        setattr(row, f"{end}_{name}", float(getattr(prior, name)[column]) if lends else None)
    setattr(row, f"{end}_weights", prior.weights[:, column].tolist() if lends else [])
