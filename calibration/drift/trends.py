"""Stored trends: the drift of many points at once, as lists need it.

Written inside the act that changed what they depend on (approval, import, cause of a jump), which
writes the ledger entry; and by the nightly pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.db import connection

from calibration.arrays import BigInts, Days, Floats, Ints, Packed, execute
from calibration.drift.histories import ENDS, EndHistories, families_of, histories_of
from calibration.drift.results import DAYS_PER_YEAR, Points, Results, points_of, results_of
from calibration.drift.verdicts import Verdicts, tests_of, verdicts_of
from calibration.metrology.doubt import first_below
from calibration.metrology.forecast import Forecast, forecast
from calibration.metrology.intervals import as_found_probability
from calibration.metrology.shapes import FamilyShapes, OwnTests
from calibration.metrology.wander import Outlook, Prior, outlook


@dataclass(frozen=True)
class Judgement:
    """The outlook and forecast of all columns, the probability of each end's as found in tolerance
    on the due date, and the years until it falls below the policy's floor, inf where the whole
    verdict says so instead; verdicts: of the points both of whose ends are known.
    """

    histories: EndHistories
    outlook: Outlook
    forecast: Forecast
    in_tolerance: np.ndarray
    doubt: np.ndarray
    verdicts: Verdicts | None


def judge(
    points: Points,
    histories: EndHistories,
    prior: Prior,
    own: OwnTests,
    families: FamilyShapes,
) -> Judgement:
    """own, families: shapes of each point's tests and of its family."""
    fit = outlook(histories.core, prior)
    ahead = np.maximum(points.due[histories.place] - histories.last_day, 0) / DAYS_PER_YEAR
    tolerance, u = histories.tolerance, histories.u_next
    known = forecast(fit, tolerance, u)
    verdicts = verdicts_of(points, histories, fit, known.dated, own, families)
    doubt = np.full(len(histories), np.inf)
    alone = np.flatnonzero(~np.isin(histories.place, verdicts.place if verdicts else []))
    if alone.size:
        floor = points.floor[histories.place[alone]]
        doubt[alone] = first_below(fit.columns(alone), tolerance[alone], u[alone], floor)
    in_tolerance = as_found_probability(fit, ahead, tolerance, u)
    return Judgement(histories, fit, known, in_tolerance, doubt, verdicts)


def refit(point_ids: Iterable[int]) -> int:
    """Judge and store the trends of these points; returns how many. Part of the caller's
    transaction.
    """
    points = points_of(list(point_ids))
    results = results_of(points)
    histories = histories_of(points, results)
    if histories is None:
        return store(points, results, None)
    prior, families = families_of(histories, points)
    own = tests_of(points, results)
    return store(points, results, judge(points, histories, prior, own, families))


def store(points: Points, results: Results, judgement: Judgement | None) -> int:
    """Put the trends of these points in place of the stored ones; returns how many have any
    result.
    """
    visits = np.bincount(np.searchsorted(points.id, results.point), minlength=len(points))
    places = np.flatnonzero(visits)
    if not places.size:
        return 0
    columns = {
        "site_id": points.site[places],
        "point_id": points.id[places],
        "transmitter_id": points.transmitter[places],
        "family_id": np.where(points.family[places] > 0, points.family[places], np.nan),
        "results": visits[places],
        **(_columns(places, points, judgement) if judgement else {}),
    }
    nothing = np.full(len(places), np.nan)
    with connection.cursor() as cursor:
        execute(
            cursor, STORE, [kind.of(columns.get(name, nothing)) for name, kind in COLUMNS.items()]
        )
    return len(places)


def _columns(places: np.ndarray, points: Points, judgement: Judgement) -> dict[str, np.ndarray]:
    """Rates of both ends; own weight and crossing of the end that leaves the tolerance first; the
    chance of passing, or where it is not known the lower probability of the ends.
    """
    histories, fit = judgement.histories, judgement.forecast
    at = histories.column[:, places]
    there = at >= 0
    columns = {}
    for end, name in enumerate(ENDS):
        for part in ("rate", "low", "high"):
            values = np.where(there[end], getattr(fit, part)[at[end]], np.nan)
            columns[f"{name}_rate" + ("" if part == "rate" else f"_{part}")] = values
    meets = np.where(there, fit.meets[at], np.inf)
    likely = np.where(there, judgement.in_tolerance[at], np.inf)
    first = np.where(
        (meets[1] < meets[0]) | ((meets[1] == meets[0]) & (likely[1] < likely[0])), 1, 0
    )
    first = np.where(there[0], np.where(there[1], first, 0), 1)
    along = np.arange(len(places))
    column, known = at[first, along], there.any(axis=0)
    met = known & np.isfinite(meets[first, along])
    years = np.where(met, meets[first, along], 0)
    days = histories.last_day[column] + (years * DAYS_PER_YEAR).astype(int)
    in_tolerance = np.where(known & fit.dated[column], likely.min(axis=0), np.nan)
    doubt_on = _doubt_days(judgement, at, there)
    _set_verdicts(in_tolerance, doubt_on, places, points, judgement.verdicts)
    return columns | {
        "doubt_on": doubt_on,
        "own_weight": np.where(known, fit.own_weight[column], np.nan),
        "crossing_on": np.where(met, days, np.nan),
        "crossing_of": np.where(met, first, np.nan),
        "in_tolerance": in_tolerance,
    }


def _set_verdicts(
    in_tolerance: np.ndarray,
    doubt_on: np.ndarray,
    places: np.ndarray,
    points: Points,
    verdicts: Verdicts | None,
) -> None:
    """Put the chance of passing on the due date, and the day on which it is too low, in place of
    what the ends alone say; places: of the points with results, all of verdicts among them.
    """
    if verdicts is None:
        return
    at = np.searchsorted(places, verdicts.place)
    in_tolerance[at] = verdicts.chance(points.due[verdicts.place])
    doubt_on[at] = verdicts.first_days_below(points.floor[verdicts.place])


def _doubt_days(judgement: Judgement, at: np.ndarray, there: np.ndarray) -> np.ndarray:
    """The day of the end that is doubted first; NaN where none is in sight."""
    histories = judgement.histories
    dated = there & judgement.forecast.dated[at]
    years = np.where(dated, judgement.doubt[at], np.inf)
    end = years.argmin(axis=0)
    along = np.arange(at.shape[1])
    sooner = years[end, along]
    is_known = np.isfinite(sooner)
    ahead = np.ceil(np.where(is_known, sooner, 0) * DAYS_PER_YEAR)
    return np.where(is_known, histories.last_day[at[end, along]] + ahead, np.nan)


COLUMNS: dict[str, type[Packed]] = {
    "site_id": BigInts,
    "point_id": BigInts,
    "transmitter_id": BigInts,
    "family_id": BigInts,
    "results": Ints,
    "zero_rate": Floats,
    "zero_rate_low": Floats,
    "zero_rate_high": Floats,
    "span_rate": Floats,
    "span_rate_low": Floats,
    "span_rate_high": Floats,
    "own_weight": Floats,
    "crossing_on": Days,
    "crossing_of": Ints,
    "in_tolerance": Floats,
    "doubt_on": Days,
}
VALUES = {"crossing_of": "CASE crossing_of WHEN 0 THEN 'zero' WHEN 1 THEN 'span' ELSE '' END"}
KEPT = ("site_id", "point_id")
STORE = f"""
    INSERT INTO calibration_trend ({", ".join(COLUMNS)}, fitted_at)
    SELECT {", ".join(VALUES.get(name, name) for name in COLUMNS)}, transaction_timestamp()
    FROM unnest({", ".join("%s" for _ in COLUMNS)}) AS t ({", ".join(COLUMNS)})
    ON CONFLICT (point_id) DO UPDATE SET
    {", ".join(f"{name} = excluded.{name}" for name in COLUMNS if name not in KEPT)},
    fitted_at = excluded.fitted_at
"""  # noqa: S608 - parts written above
