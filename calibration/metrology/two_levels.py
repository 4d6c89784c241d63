"""Zero and span end of a transmitter from two known levels.

For a tank that can be neither emptied nor filled. The line through (L₁, I₁) and (L₂, I₂) at any
level x: I(x) = f₁ I₁ + f₂ I₂ with f₁ = (L₂ − x)/(L₂ − L₁), f₂ = 1 − f₁. Independent errors at the
two levels are multiplied by the gain A = √(f₁² + f₂²); a common error enters once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from calibration.metrology.uncertainty import DIVISORS, Component
from plant.level.arrays import Floats, float_or_array
from plant.level.checks import BadArgument, limits_size, takes_numbers
from plant.level.signals import FOUR_TO_TWENTY, Signal, ZeroSpan

# Customs (common practice, no source). The slope may be adjusted where the levels lie this share
# of the span apart and A stays under GAIN_TO_ADJUST at both ends; a verdict at an end is given up
# to GAIN_TO_JUDGE: 2.7 still verifies, 3.6 no longer says anything of the ends.
APART_TO_ADJUST = 0.4
GAIN_TO_ADJUST = 2.0
GAIN_TO_JUDGE = 3.0
# A third level checks the line where it lies at least this share of the span from both (common
# practice, no source).
THIRD_APART = 0.1
# Non-linearity between and beyond the levels, ± % of span (common practice, no source).
BEND_PERCENT = 0.25


@dataclass(frozen=True)
class TwoLevels:
    """The line through two levels; arrays for a fleet.

    slope: output per metre. zero, span_end: output at LRV and URV. zero_error, span_end_error: %
    of span.
    gain_at_zero, gain_at_span_end: the factor A. apart: distance of the levels as a share of the
    span.
    """

    levels: np.ndarray
    outputs: np.ndarray
    lower: Floats
    upper: Floats
    signal: Signal
    slope: Floats
    zero: Floats
    span_end: Floats
    zero_error: Floats
    span_end_error: Floats
    gain_at_zero: Floats
    gain_at_span_end: Floats
    apart: Floats

    def weights_at(self, level: Floats) -> tuple[Floats, Floats]:
        """f₁ and f₂ at a level, m; together 1."""
        return _weights(self.levels, level)

    def gain_at(self, level: Floats) -> Floats:
        """A at a level: by how much independent errors of the two levels grow there."""
        return float_or_array(np.hypot(*self.weights_at(level)))

    def output_at(self, level: Floats) -> Floats:
        """Output of the line at a level, in the signal's unit."""
        first, second = self.weights_at(level)
        return float_or_array(first * self.outputs[..., 0] + second * self.outputs[..., 1])

    @takes_numbers("level", "output")
    def deviation_at(self, level: Floats, output: Floats) -> Floats:
        """How far a third reading lies off the line, % of span: the check of the two."""
        return float_or_array(
            100 * (np.asarray(output, dtype=float) - self.output_at(level)) / self.signal.span
        )

    def is_check_level(self, level: Floats) -> Floats:
        """Whether a level lies within the range, and far enough from both to check the line."""
        at, span = np.asarray(level, dtype=float), np.asarray(self.upper) - self.lower
        away = np.abs(at[..., None] - self.levels).min(axis=-1)
        share = (at - self.lower) / span
        inside = (share > -1e-9) & (share < 1 + 1e-9)
        return _yes(inside & (away >= THIRD_APART * np.abs(span) - 1e-9))

    @property
    def may_judge(self) -> Floats:
        """Whether the ends may get a verdict; elsewhere only the two levels themselves do."""
        return _yes(self._larger_gain <= GAIN_TO_JUDGE)

    @property
    def may_adjust_slope(self) -> Floats:
        """Whether zero and span may be adjusted; elsewhere one offset only."""
        far = np.asarray(self.apart) >= APART_TO_ADJUST - 1e-9
        return _yes(far & (self._larger_gain <= GAIN_TO_ADJUST))

    @property
    def _larger_gain(self) -> np.ndarray:
        larger: np.ndarray = np.maximum(self.gain_at_zero, self.gain_at_span_end)
        return larger

    @takes_numbers("output")
    def after_adjusting(self, output: Floats) -> Floats:
        """The output to set where the line now gives ``output``, so that both ends come right."""
        share = (np.asarray(output, dtype=float) - self.zero) / (
            np.asarray(self.span_end) - self.zero
        )
        return float_or_array(self.signal.low + self.signal.span * share)


@takes_numbers("lower", "upper")
@limits_size("outputs")
def two_levels(
    levels: ArrayLike,
    outputs: ArrayLike,
    *,
    lower: Floats,
    upper: Floats,
    signal: Signal = FOUR_TO_TWENTY,
) -> TwoLevels:
    """The line through two levels (m) and the outputs seen there; the pair along the last axis.

    lower, upper: range values, m; lower > upper is reverse action. A volume is turned into level
    first.
    Raises ZeroSpan where the range values are equal, BadArgument where the levels are, or a value
    is no number.

    >>> seen = two_levels([2.150, 6.480], [7.742, 16.480], lower=0.300, upper=8.300)
    >>> round(seen.zero, 6), round(seen.span_end_error, 4)
    (4.008674, 0.9549)
    """
    at, seen = np.asarray(levels, dtype=float), np.asarray(outputs, dtype=float)
    low, high = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    for name, array in (("levels", at), ("outputs", seen)):
        if array.ndim == 0 or array.shape[-1] != 2:
            raise BadArgument(f"{name}", "two values are needed, the pair along the last axis")
        if not np.isfinite(array).all():
            raise BadArgument(f"{name}", "not a number")
    if (at[..., 0] == at[..., 1]).any():
        raise BadArgument("levels", "the two are equal, so no line goes through them")
    if (low == high).any():
        raise ZeroSpan
    at_low, at_high = _weights(at, low), _weights(at, high)
    zero = at_low[0] * seen[..., 0] + at_low[1] * seen[..., 1]
    end = at_high[0] * seen[..., 0] + at_high[1] * seen[..., 1]
    return TwoLevels(
        levels=at,
        outputs=seen,
        lower=float_or_array(low),
        upper=float_or_array(high),
        signal=signal,
        slope=float_or_array((seen[..., 1] - seen[..., 0]) / (at[..., 1] - at[..., 0])),
        zero=float_or_array(zero),
        span_end=float_or_array(end),
        zero_error=float_or_array(100 * (zero - signal.low) / signal.span),
        span_end_error=float_or_array(100 * (end - signal.high) / signal.span),
        gain_at_zero=float_or_array(np.hypot(*at_low)),
        gain_at_span_end=float_or_array(np.hypot(*at_high)),
        apart=float_or_array(np.abs(at[..., 1] - at[..., 0]) / np.abs(high - low)),
    )


@limits_size("weights")
def propagate(components: Sequence[Component], weights: ArrayLike) -> tuple[Component, ...]:
    """Components of readings that are sums of others: propagation of uncertainty.

    weights: M by N; each of M readings as a sum of N, whose components are given (N values each,
    or one for all). A shared component (datum, tape, meter) comes once, with the sign of each
    weight: a constant stays what it is where the weights make 1, and what grows with the level
    grows with it. The rest comes in quadrature. Raises BadArgument where the weights are not a
    table of numbers.
    Source: JCGM 100:2008, 5.1.2 and 5.2.2 (from memory).
    """
    table = np.asarray(weights, dtype=float)
    if table.ndim != 2 or not np.isfinite(table).all():
        raise BadArgument("weights", "a table is needed, a row for each reading that comes out")
    return tuple(_propagate(c, table) for c in components)


def _propagate(component: Component, table: np.ndarray) -> Component:
    def each(values: Floats) -> np.ndarray:
        return np.broadcast_to(np.asarray(values, dtype=float), table.shape[1])

    part, u = each(component.contribution), each(component.u)
    whole = table @ part if component.shared else np.sqrt(table**2 @ part**2)
    # The largest weight's value stands for all, and the sensitivity for what becomes of it.
    chief = np.abs(table).argmax(axis=1)
    if not component.shared:
        whole = np.where(part[chief] < 0, -whole, whole)
    known = u[chief] > 0
    by = DIVISORS[component.shape] if component.divisor is None else component.divisor
    return replace(
        component,
        value=np.where(known, each(component.value)[chief], np.abs(whole) * by),
        sensitivity=np.where(known, whole / np.where(known, u[chief], 1.0), np.sign(whole)),
        dof=component.dof if np.ndim(component.dof) == 0 else each(component.dof)[chief],
    )


def _weights(levels: np.ndarray, level: Floats) -> tuple[Floats, Floats]:
    first = (levels[..., 1] - np.asarray(level, dtype=float)) / (levels[..., 1] - levels[..., 0])
    return float_or_array(first), float_or_array(1 - first)


def _yes(answer: np.ndarray) -> Floats:
    return bool(answer) if np.ndim(answer) == 0 else answer
