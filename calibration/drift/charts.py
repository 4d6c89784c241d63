"""The drift of a transmitter as a picture, in two views.

As it stood: errors as found and as left, each adjustment an arrow. Adjustments taken out: what it
drifted, summed over the visits. In both the forecast goes on from the last as left.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from calibration.chart_marks import EXPECTED, FOUND, LEFT, TOLERANCE, Mark
from calibration.charts import (
    ErrorScale,
    Spec,
    error_axis,
    error_scale,
    layered,
    tolerance_band,
    tolerance_words,
    zero_line,
)
from calibration.drift.chart_days import NamedDay, day_lines, named_days
from calibration.drift.chart_parts import (
    ADJUSTED,
    ADJUSTMENT,
    FAILURE,
    NEW_LEVEL,
    NEXT_FOUND,
    NOT_COUNTED,
    SUMMED,
    Ahead,
    adjusted_days,
    adjustments,
    failures,
    forecast,
    found_and_left,
    found_groups,
    legs,
    new_levels,
    summed,
)
from calibration.drift.reads import Drift
from calibration.drift.visits import Visit
from plant.level.tolerance import Limits

POINTS_OF_LINE = 60
HEIGHT = 270
FURTHEST = 3  # tolerances; a wider band is cut there, so that the results stay readable

AS_IT_STOOD, TAKEN_OUT = "as-it-stood", "taken-out"
VIEWS = {AS_IT_STOOD: "as it stood", TAKEN_OUT: "adjustments taken out"}


def chart_of(
    drift: Drift,
    visits: Sequence[Visit],
    *,
    view: str,
    today: dt.date,
    due: dt.date,
    failed_on: Sequence[dt.date] = (),
) -> Spec:
    """One view of a drift that has a forecast, with all results as they stood. failed_on: the days
    on which a reading was in a failure band.
    """
    days = _days_ahead(drift, today, due)
    band = drift.ahead(days)
    ahead = Ahead(
        [day.isoformat() for day in days],
        band.centre[:, 0].tolist(),
        band.lower[:, 0].tolist(),
        band.upper[:, 0].tolist(),
    )
    named = named_days(today, due, drift.crossing_on, until=days[-1])
    return drift_chart(
        visits,
        ahead,
        tolerance=drift.limits,
        view=view,
        named=named,
        failed_on=failed_on,
    )


def _days_ahead(drift: Drift, today: dt.date, due: dt.date) -> list[dt.date]:
    first, last = drift.days[0], drift.days[-1]
    until = max(
        today + dt.timedelta(days=180), due + dt.timedelta(days=90), last + dt.timedelta(days=365)
    )
    on = drift.crossing_on
    if on and on < last + 2 * (last - first):
        until = max(until, on + dt.timedelta(days=90))
    days = (until - last).days
    return [
        last + dt.timedelta(days=round(days * n / (POINTS_OF_LINE - 1)))
        for n in range(POINTS_OF_LINE)
    ]


# ---- the picture ----
def drift_chart(
    visits: Sequence[Visit],
    ahead: Ahead | None = None,
    *,
    tolerance: Limits,
    view: str = AS_IT_STOOD,
    named: Sequence[NamedDay] = (),
    failed_on: Sequence[dt.date] = (),
) -> Spec:
    """Errors, or their drift summed, against time; values in % of span.

    ahead: the forecast from the last visit on. named: days named above the plot. failed_on: days of
    a failure, marked along its top.
    """
    shown = ahead or Ahead()
    if view == TAKEN_OUT:
        visits = [visit for visit in visits if visit.is_counted]
    drawn = _taken_out if view == TAKEN_OUT else _as_it_stood
    scale = _scale(visits, shown, tolerance, view)
    last = dt.date.fromisoformat(shown.on[-1]) if shown.on else visits[-1].day
    title = "Drift, % of span" if view == TAKEN_OUT else "Error, % of span"
    return layered(
        [
            *drawn(visits, shown, tolerance, scale),
            *failures(failed_on),
            *day_lines(named, visits[0].day, last),
        ],
        x=_time_axis(),
        y=error_axis(title, tolerance, scale),
        height=HEIGHT,
        key=[*_key(visits, shown, view), *([FAILURE] if failed_on else [])],
    )


def _as_it_stood(
    visits: Sequence[Visit], ahead: Ahead, tolerance: Limits, scale: ErrorScale
) -> list[Spec]:
    return [
        *tolerance_band(tolerance),
        zero_line(),
        *forecast(ahead),
        *tolerance_words(tolerance),
        *new_levels(visits),
        *legs(visits),
        *adjustments(visits, scale),
        *found_and_left(visits, tolerance),
    ]


def _taken_out(
    visits: Sequence[Visit], ahead: Ahead, tolerance: Limits, scale: ErrorScale
) -> list[Spec]:
    """The tolerance is shaded over the forecast only: a sum is not compared with it."""
    between = (ahead.on[0], ahead.on[-1]) if ahead.on else None
    return [
        *(tolerance_band(tolerance, between) if between else []),
        zero_line(),
        *forecast(ahead),
        *(tolerance_words(tolerance, between[0]) if between else []),
        *new_levels(visits),
        *summed(visits, tolerance.size),
        *adjusted_days(visits),
    ]


def _scale(visits: Sequence[Visit], ahead: Ahead, tolerance: Limits, view: str) -> ErrorScale:
    if view == TAKEN_OUT:
        known = [visit.value for visit in visits]
    else:
        known = [value for visit in visits for value in (visit.found, visit.left)]
    results = [value for value in known if value is not None]
    furthest = max([FURTHEST * tolerance.size, *map(abs, results)])
    band = [min(max(value, -furthest), furthest) for value in (*ahead.low, *ahead.high)]
    return error_scale([*results, *band], tolerance, HEIGHT)


def _key(visits: Sequence[Visit], ahead: Ahead, view: str) -> Iterator[Mark]:
    """The marks that the chart has, in the order of reading."""
    taken_out = view == TAKEN_OUT
    yield from (mark for mark, _ in found_groups(visits, SUMMED if taken_out else FOUND))
    if not taken_out:
        yield LEFT
    if any(visit.adjusted for visit in visits):
        yield ADJUSTED if taken_out else ADJUSTMENT
    if any(visit.fresh for visit in visits[1:]):
        yield NEW_LEVEL
    if not all(visit.is_counted for visit in visits):
        yield NOT_COUNTED
    if ahead.on:
        yield from (EXPECTED, NEXT_FOUND)
    yield TOLERANCE


def _time_axis() -> Spec:
    return {
        "field": "on",
        "type": "temporal",
        "title": None,
        "scale": {"type": "utc", "padding": 10, "nice": False},
        "axis": {"grid": False, "tickCount": 6, "labelOverlap": True, "labelBound": True},
    }
