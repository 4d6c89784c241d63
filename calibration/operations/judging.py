"""From readings as sent to errors, bands, verdicts and figures. Shared by submission, amendment and import."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple, cast

import numpy as np

from calibration.metrology.decision import accept_simply, worst
from calibration.metrology.errors import Figures, figures, percent_errors
from calibration.models import Reading
from plant.level.signals import SIGNALS, band_of, percent_at, signal_at

FAILURES = ("failure low", "failure high")


@dataclass(frozen=True)
class SentReading:
    """A reading as typed: ``applied`` and ``indication`` in the point's unit, ``observed`` in mA or V."""

    stage: str
    sequence: int
    applied: Decimal
    observed: Decimal | None
    indication: Decimal | None = None
    rising: bool = True
    run: int = 1
    origin: str = "read"

    def __post_init__(self) -> None:
        if self.observed is None and self.indication is None:
            raise ValueError(
                f"{self.stage} {self.sequence}: neither an output nor an indication was read"
            )


class Range(NamedTuple):
    """What a reading is judged against: range values in the point's unit, signal key, tolerance in % of span."""

    lower: float
    upper: float
    signal: str
    tolerance_percent: float


@dataclass(frozen=True)
class Judged:
    """One stage of a record: a row per reading, and the stage's figures (None: no usable reading)."""

    readings: list[Reading]
    errors: list[float]
    figures: Figures | None
    verdict: str
    shows_failure: bool


def judge(sent: Sequence[SentReading], against: Range) -> Judged:
    """Judge the readings of one stage by simple acceptance: |error| within the tolerance passes.

    Where an indication was read it decides (a custody tolerance cannot be proved through the loop); otherwise the
    output does. A reading in an NE 43 failure band fails and stays out of the figures: it tells of a failure.
    """
    if not sent:
        return Judged([], [], None, "", False)
    signal = SIGNALS[against.signal]
    applied = np.array([float(r.applied) for r in sent])
    expected = signal_at(applied, lower=against.lower, upper=against.upper, signal=signal)
    errors = np.array(
        [_error(r, e, against) for r, e in zip(sent, expected, strict=True)], dtype=float
    )
    bands = [
        "measuring" if r.observed is None else band_of(float(r.observed), signal).value
        for r in sent
    ]
    failed = np.array([band in FAILURES for band in bands])
    verdicts = [
        "fail" if bad else verdict.value
        for bad, verdict in zip(
            failed, accept_simply(errors, against.tolerance_percent), strict=True
        )
    ]
    percent = percent_at(applied, lower=against.lower, upper=against.upper)
    good = ~failed
    rising = np.array([r.rising for r in sent])
    run = np.array([r.run for r in sent])
    return Judged(
        readings=[
            Reading(
                stage=r.stage,
                run=r.run,
                sequence=r.sequence,
                rising=r.rising,
                applied=r.applied,
                expected=Decimal(str(round(float(e), 5))),
                observed=r.observed,
                observed_indication=r.indication,
                error_percent=float(error),
                band=band,
                verdict=verdict,
                origin=r.origin,
            )
            for r, e, error, band, verdict in zip(
                sent, expected, errors, bands, verdicts, strict=True
            )
        ],
        errors=[float(e) for e in errors[good]],
        figures=figures(percent[good], errors[good], rising[good], run[good])
        if good.any()
        else None,
        verdict=worst(verdicts).value,
        shows_failure=bool(failed.any()),
    )


def _error(reading: SentReading, expected: float, against: Range) -> float:
    """Error in % of span; by the indication where there is one."""
    if reading.indication is not None:
        span = abs(against.upper - against.lower)
        return 100 * float(reading.indication - reading.applied) / span
    observed = float(cast(Decimal, reading.observed))
    signal = SIGNALS[against.signal]
    return float(percent_errors(observed, expected, signal_span=signal.high - signal.low))
