"""Readings of both stages, simulated output and wetted level, checked for use in stages.py.

Visits run along the first axis, instruments along the last; one instrument is a fleet of one.
Errors are in % of span (all at zero, or all at span), time in years.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.drift import CannotFit


@dataclass(frozen=True)
class Visits:
    """Readings of N instruments at K visits, checked; K by N, aligned at their last visit.

    NaN: not read. years: NaN in front of a shorter history. trimmed: an output trim; adjusted:
    zero or span set on the tank. The left readings count where the visit changed the stage that
    they show. u: standard uncertainties; common: the part that readings of one kind share within a
    visit; meter: the part that both kinds share.
    """

    years: np.ndarray
    simulated: np.ndarray
    wetted: np.ndarray
    simulated_left: np.ndarray
    wetted_left: np.ndarray
    trimmed: np.ndarray
    adjusted: np.ndarray
    u_simulated: np.ndarray
    u_wetted: np.ndarray
    common_simulated: np.ndarray
    common_wetted: np.ndarray
    u_meter: np.ndarray

    @staticmethod
    def of(
        years: ArrayLike,
        *,
        simulated: ArrayLike = np.nan,
        wetted: ArrayLike = np.nan,
        simulated_left: ArrayLike = np.nan,
        wetted_left: ArrayLike = np.nan,
        trimmed: ArrayLike = False,
        adjusted: ArrayLike = False,
        u_simulated: ArrayLike = np.nan,
        u_wetted: ArrayLike = np.nan,
        common_simulated: ArrayLike = 0.0,
        common_wetted: ArrayLike = 0.0,
        u_meter: ArrayLike = 0.0,
    ) -> Visits:
        """Readings from one column an instrument, visits in order of time, checked.

        A plain sequence is one instrument. Raises CannotFit for fewer than two visits, times that
        do not rise, readings without an uncertainty above zero, a common part above the whole, no
        reading at all, or shapes that differ.
        """
        time = np.asarray(years, dtype=float)
        if time.ndim not in (1, 2):
            raise CannotFit("years", "one row a visit and one column an instrument are needed")
        time = time[:, None] if time.ndim == 1 else time
        columns = {
            "simulated": simulated,
            "wetted": wetted,
            "simulated_left": simulated_left,
            "wetted_left": wetted_left,
            "trimmed": trimmed,
            "adjusted": adjusted,
            "u_simulated": u_simulated,
            "u_wetted": u_wetted,
            "common_simulated": common_simulated,
            "common_wetted": common_wetted,
            "u_meter": u_meter,
        }
        visits = Visits(time, **{name: _like(time, name, c) for name, c in columns.items()})
        _refuse_unusable(visits)
        return visits

    def __len__(self) -> int:
        return self.years.shape[1]

    def columns(self, which: Any) -> Visits:
        return Visits(*(getattr(self, f.name)[:, which] for f in fields(self)))


def _refuse_unusable(visits: Visits) -> None:
    _refuse_times(visits.years)
    for stage in ("simulated", "wetted"):
        _refuse_readings(visits, stage)
    read = ~np.isnan(visits.years) & ~(np.isnan(visits.simulated) & np.isnan(visits.wetted))
    reason = "two visits with a reading are needed"
    refuse(read.sum(axis=0) < 2, "simulated, wetted", reason)


def _like(time: np.ndarray, name: str, given: ArrayLike) -> np.ndarray:
    dtype = bool if name in ("trimmed", "adjusted") else float
    column = np.asarray(given, dtype=dtype)
    column = column[:, None] if column.ndim == 1 else column
    if column.shape not in (time.shape, (), (time.shape[0], 1)):
        raise CannotFit(name, f"shape {column.shape} does not go with years, {time.shape}")
    return np.broadcast_to(column, time.shape)


def refuse(wrong: Any, argument: str, reason: str) -> None:
    """Raise CannotFit for the first instrument that is wrong."""
    if wrong.any():
        where = f"instrument {int(wrong.argmax()) + 1}: " if wrong.size > 1 else ""
        raise CannotFit(argument, where + reason)


def _refuse_times(years: np.ndarray) -> None:
    here = ~np.isnan(years)
    refuse(here.sum(axis=0) < 2, "years", "two visits on different days are needed")
    refuse((here[:-1] & ~here[1:]).any(axis=0), "years", "a visit has no time")
    refuse(np.isinf(years).any(axis=0), "years", "a time is not a number")
    late = (np.diff(years, axis=0) <= 0).any(axis=0)
    refuse(late, "years", "each visit must come after the one before it")


def _refuse_readings(visits: Visits, stage: str) -> None:
    readings = np.stack([getattr(visits, stage), getattr(visits, f"{stage}_left")])
    u, common = getattr(visits, f"u_{stage}"), getattr(visits, f"common_{stage}")
    here = ~np.isnan(visits.years)
    refuse((here & np.isinf(readings).any(axis=0)).any(axis=0), stage, "a reading is not a number")
    read = here & ~np.isnan(readings).all(axis=0)
    bad = read & ~((u > 0) & np.isfinite(u))
    refuse(bad.any(axis=0), f"u_{stage}", "an uncertainty must be a number above zero")
    for name, part in ((f"common_{stage}", common), ("u_meter", visits.u_meter)):
        outside = read & ~((part >= 0) & (part <= u))
        refuse(outside.any(axis=0), name, f"it must lie between zero and u_{stage}")
