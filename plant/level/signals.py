"""Output signals: what a correct transmitter shows, and what a current says about the instrument.

A level (or volume) runs from LRV to URV; LRV above URV is reverse action. The line is not
clamped: beyond the range it goes on, so that a reading below 4 mA still has its error. Far beyond
it, see expected_at.
Sources: 4-20 mA, IEC 60381-1 (from memory); failure information by current, NAMUR NE 43 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from plant.level.arrays import Floats, float_or_array
from plant.level.checks import SMALLEST, limits_size, numbers, takes_numbers

# How far measuring information goes on beyond the range, shares of the span: 3.8 and 20.5 mA.
UNDER_RANGE, OVER_RANGE = 0.2 / 16, 0.5 / 16
OHMS = 250.0  # The usual loop resistor: it makes 1-5 V of 4-20 mA (common practice, no source).


@dataclass(frozen=True)
class Signal:
    """An output signal: ``low`` at 0 % and ``high`` at 100 % of span, both in ``unit``."""

    key: str
    low: float
    high: float
    unit: str

    @property
    def span(self) -> float:
        return self.high - self.low


FOUR_TO_TWENTY = Signal("4-20mA", 4.0, 20.0, "mA")
ONE_TO_FIVE = Signal("1-5V", 1.0, 5.0, "V")
SIGNALS = {
    signal.key: signal
    for signal in (
        FOUR_TO_TWENTY,
        Signal("0-20mA", 0.0, 20.0, "mA"),
        ONE_TO_FIVE,
        Signal("0-10V", 0.0, 10.0, "V"),
    )
}


class ZeroSpan(ValueError):
    """LRV and URV are equal, so no signal can stand for a level between them."""

    def __init__(self) -> None:
        super().__init__(
            "LRV and URV are equal: there is no span between them. Correct one of the two."
        )


@takes_numbers("lower", "upper")
@limits_size("value")
def percent_at(value: Floats, *, lower: Floats, upper: Floats) -> Floats:
    """Per cent of span for which ``value`` stands. All three in one unit; shapes broadcast.

    >>> percent_at(1.05, lower=0.0, upper=4.2)
    25.0
    """
    return float_or_array(100 * _share(value, lower, upper))


@takes_numbers("lower", "upper")
@limits_size("value")
def signal_at(
    value: Floats, *, lower: Floats, upper: Floats, signal: Signal = FOUR_TO_TWENTY
) -> Floats:
    """Output of a correct transmitter at ``value``, in the signal's unit; shapes broadcast.

    value: level or volume, in the unit of the range values; beyond the range it extrapolates.
    lower, upper: range values LRV and URV; lower > upper is reverse action.
    Raises ZeroSpan where the range values are equal.

    >>> signal_at(1.05, lower=0.0, upper=4.2)
    8.0
    >>> signal_at(1.05, lower=4.2, upper=0.0)
    16.0
    """
    return float_or_array(signal.low + signal.span * _share(value, lower, upper))


@takes_numbers("lower", "upper")
@limits_size("value")
def expected_at(
    value: Floats,
    observed: Floats = np.nan,
    *,
    lower: Floats,
    upper: Floats,
    signal: Signal = FOUR_TO_TWENTY,
) -> Floats:
    """Output of a correct transmitter at ``value`` where it shows ``observed`` (NaN: not read).

    As signal_at; but beyond 3.8 and 20.5 mA each maker stops somewhere between there and the end
    of the range, and all of it is right: a tank below the range of an overfill probe is no error.
    Source: NAMUR NE 43 (from memory).

    >>> probe = {"lower": 10.2, "upper": 11.6}
    >>> expected_at(3.5, 3.9, **probe), expected_at(3.5, 4.2, **probe)
    (3.9, 4.0)
    """
    line = np.asarray(signal_at(value, lower=lower, upper=upper, signal=signal), dtype=float)
    seen = np.asarray(observed, dtype=float)
    # A signal without a live zero cannot show less than nothing.
    least = max(signal.low - UNDER_RANGE * signal.span, 0.0)
    most = signal.high + OVER_RANGE * signal.span
    low = np.where(np.isnan(seen), signal.low, np.clip(seen, least, signal.low))
    high = np.where(np.isnan(seen), signal.high, np.clip(seen, signal.high, most))
    return float_or_array(np.where(line < least, low, np.where(line > most, high, line)))


@takes_numbers("lower", "upper")
@limits_size("observed")
def value_at(
    observed: Floats, *, lower: Floats, upper: Floats, signal: Signal = FOUR_TO_TWENTY
) -> Floats:
    """Level or volume of an observed output, in the unit of the range; inverse of signal_at.

    >>> value_at(8.0, lower=0.0, upper=4.2)
    1.05
    """
    low, span = _range(lower, upper)
    share = (np.asarray(observed, dtype=float) - signal.low) / signal.span
    return float_or_array(low + span * share)


def _share(value: Floats, lower: Floats, upper: Floats) -> Floats:
    low, span = _range(lower, upper)
    return (np.asarray(value, dtype=float) - low) / span


def _range(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    low = np.asarray(lower, dtype=float)
    span = np.asarray(upper, dtype=float) - low
    if np.any(np.abs(span) < SMALLEST):
        raise ZeroSpan
    return low, span


class FaultBand(StrEnum):
    """What a 4-20 mA current says about the instrument, from low to high."""

    FAILURE_LOW = "failure low"
    SUSPECT_LOW = "suspect low"
    UNDER_RANGE = "under range"
    MEASURING = "measuring"
    OVER_RANGE = "over range"
    SUSPECT_HIGH = "suspect high"
    FAILURE_HIGH = "failure high"

    @property
    def is_failure(self) -> bool:
        """True in the two bands by which an instrument reports its own failure."""
        return self in (FaultBand.FAILURE_LOW, FaultBand.FAILURE_HIGH)


_BANDS = np.array(list(FaultBand), dtype=object)


def _just_above(edge: float) -> float:
    return float(np.nextafter(edge, np.inf))


# The last current of the band below that tells of a failure, and the first of the one above, mA.
_LAST_LOW, _FIRST_HIGH = 3.6, 21.0
# Where each next band begins, mA: 3.6, 20 and 20.5 themselves still belong to the band below.
_EDGES = np.array(
    [_just_above(_LAST_LOW), 3.8, 4.0, _just_above(20.0), _just_above(20.5), _FIRST_HIGH]
)


def failure_limit(band: FaultBand, signal: Signal) -> float:
    """The output, in the signal's unit, at which a failure band begins; itself belongs to it.

    Raises ValueError for a band or a signal that tells of no failure. Source: NAMUR NE 43 (from
    memory).

    >>> failure_limit(FaultBand.FAILURE_LOW, FOUR_TO_TWENTY)
    3.6
    >>> failure_limit(FaultBand.FAILURE_HIGH, ONE_TO_FIVE)
    5.25
    """
    if not band.is_failure or signal not in (FOUR_TO_TWENTY, ONE_TO_FIVE):
        raise ValueError(f"{band} of {signal.key}: no failure band begins there")
    current = _LAST_LOW if band == FaultBand.FAILURE_LOW else _FIRST_HIGH
    return current if signal == FOUR_TO_TWENTY else current * OHMS / 1000


def fault_bands(currents: Floats) -> np.ndarray:
    """Bands of currents of a 4-20 mA loop, mA: an array of FaultBand of the same shape.

    Up to 3.6 mA and from 21 mA the instrument reports its failure. Between 3.6 and 3.8 and between
    20.5 and 21 mA nothing is laid down: such a current is suspect.
    Raises BadArgument for a reading that was not taken. Source: NAMUR NE 43 (from memory).

    >>> fault_bands([3.7, 12.0])[0].value
    'suspect low'
    """
    currents = numbers("currents", currents)
    bands: np.ndarray = _BANDS[np.searchsorted(_EDGES, currents, side="right")]
    return bands


def band_of(observed: float, signal: Signal) -> FaultBand:
    """The band of one observed output of any signal. See bands_of."""
    band: FaultBand = bands_of(np.array([observed]), signal)[0]
    return band


@limits_size("observed")
def bands_of(observed: Floats, signal: Signal) -> np.ndarray:
    """Bands of observed outputs, in the signal's unit.

    1-5 V is read as a 4-20 mA loop across 250 ohm. 0-20 mA and 0-10 V have no live zero and no
    agreed failure
    current: whatever they show is "measuring".

    >>> bands_of([0.9, 3.0], ONE_TO_FIVE)[0].value
    'failure low'
    """
    observed = np.asarray(observed, dtype=float)
    if signal == FOUR_TO_TWENTY:
        return fault_bands(observed)
    if signal == ONE_TO_FIVE:
        return fault_bands(observed * 1000 / OHMS)
    # np.full would make plain text of it.
    return _BANDS[np.full(observed.shape, list(FaultBand).index(FaultBand.MEASURING))]
