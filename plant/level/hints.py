"""Reading patterns that do not fit, and what to check for each, most likely first.

A hint is worded "check …" and is never a verdict: it decides nothing and adjusts nothing.
Patterns P1 to P10 and their causes are common practice, no source. Currents are of a 4-20 mA
loop, mA; tolerance in % of span.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from plant.level.checks import BadArgument, above_zero, numbers, takes_numbers
from plant.level.hint_checks import CAPACITANCE, CHECKS
from plant.level.signals import FOUR_TO_TWENTY, fault_bands

# What is worth a hint, as a share of the tolerance: the customary adjust limit.
WORTH = 0.5
# The applied value must move this much, % of span, before "no change" or "the wrong way" can be
# said.
MOVED = 10.0
# An output that follows by less than this share of what was applied does not follow.
FOLLOWS = 0.1
# A flat top is flat to this, % of span.
FLAT = 0.1
# Shares of the span that a lost tank reference leaves (it shrinks by 10 to 60 %).
SHRUNK = (0.4, 0.9)


@dataclass(frozen=True)
class Hint:
    """A pattern and its checks.

    key: the pattern, P1 to P10. pattern: what the readings show. checks: what to check, most
    likely first.
    """

    key: str
    pattern: str
    checks: tuple[str, ...]


def _hint(kind: str, pattern: str, principle: str | None = None) -> Hint:
    checks = tuple(
        text
        for text, principles in CHECKS[kind]
        if principles is None or principle is None or principle in principles
    )
    return Hint(kind.split()[0], pattern, checks)


@takes_numbers("expected", "observed")
def reading_hints(
    expected: ArrayLike,
    observed: ArrayLike,
    *,
    tolerance: float,
    rising: ArrayLike | None = None,
    principle: str | None = None,
) -> tuple[Hint, ...]:
    """Hints for one test: currents that a correct transmitter would show, and those seen, mA.

    rising: True where the point was approached from below. principle: as the register names it;
    None keeps every check. Without a pattern, or with all errors under half the tolerance, there
    is none.
    Raises BadArgument where the arrays do not pair, a value is no number, or tolerance is not
    above zero.

    >>> [hint.key for hint in reading_hints([4, 12, 20], [4.2, 12.2, 20.2], tolerance=1.0)]
    ['P5']
    """
    currents, seen, up = _columns(expected, observed, rising, tolerance)
    failed = np.array([band.is_failure for band in fault_bands(seen)], dtype=bool)
    hints = _alarm(seen[failed], principle)
    true, shown = _percent(currents[~failed]), _percent(seen[~failed])
    if true.size == 0 or np.abs(shown - true).max() <= WORTH * tolerance:
        return tuple(hints)
    return (*hints, *_shapes(true, shown, up[~failed], tolerance, principle))


def _columns(
    expected: ArrayLike, observed: ArrayLike, rising: ArrayLike | None, tolerance: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    currents = np.ravel(np.asarray(expected, dtype=float))
    seen = np.ravel(np.asarray(observed, dtype=float))
    up = (
        np.ones(seen.shape, dtype=bool)
        if rising is None
        else np.ravel(np.asarray(rising, dtype=bool))
    )
    if not seen.size or not currents.shape == seen.shape == up.shape:
        raise BadArgument("expected, observed, rising", "each reading needs one value of each")
    if not (np.isfinite(currents).all() and np.isfinite(seen).all()):
        raise BadArgument(
            "expected, observed", "not a number; leave out readings that were not taken"
        )
    above_zero("tolerance", tolerance)
    return currents, seen, up


def _percent(currents: np.ndarray) -> np.ndarray:
    return 100 * (currents - FOUR_TO_TWENTY.low) / FOUR_TO_TWENTY.span


def _alarm(failing: np.ndarray, principle: str | None) -> list[Hint]:
    """P3: currents in a failure band of NE 43 report a failure, not an error."""
    hints = []
    for kind, some in (("P3 low", failing[failing < 12]), ("P3 high", failing[failing > 12])):
        if some.size:
            shown = f"{some.size} of the readings in the {kind[3:]} failure band"
            shown += f", such as {some[0]:.2f} mA"
            hints.append(_hint(kind, shown, principle))
    return hints


def _shapes(
    true: np.ndarray, shown: np.ndarray, up: np.ndarray, tolerance: float, principle: str | None
) -> list[Hint]:
    """P1, P2 and P4 explain everything by themselves; else zero, span, hysteresis."""
    worth = WORTH * tolerance
    moved = np.ptp(true)
    slope = _line(true, shown)[1] if moved >= MOVED else 1.0
    if moved >= MOVED and np.ptp(shown) < FOLLOWS * moved:
        return [
            _hint(
                "P1",
                f"applied {moved:.0f} % of span, the output moved {np.ptp(shown):.1f} %",
                principle,
            )
        ]
    if slope < 0:
        return [_hint("P2", "the output falls where it should rise", principle)]
    ceiling = _flat_top(true, shown, worth)
    if ceiling is not None:
        return [_hint("P4", f"true up to a point, then flat at {ceiling:.2f} mA", principle)]
    return [*_straight(true, shown, worth, principle), *_lag(true, shown, up, worth, principle)]


def _line(true: np.ndarray, shown: np.ndarray) -> tuple[float, float]:
    """Offset at 0 % and slope, least squares."""
    x, y = true - true.mean(), shown - shown.mean()
    slope = float((x * y).sum() / (x**2).sum())
    return float(shown.mean() - slope * true.mean()), slope


def _flat_top(true: np.ndarray, shown: np.ndarray, worth: float) -> float | None:
    """The current, mA, at which the top readings stand still; None where they do not.

    At least two readings below them must be right.
    """
    flat = shown >= shown.max() - FLAT
    below = ~flat
    enough = flat.sum() >= 2 and np.unique(true[below]).size >= 2
    if not enough or np.ptp(true[flat]) < MOVED or (np.abs(shown - true)[below] > worth).any():
        return None
    if (shown - true)[flat].min() >= -worth or true[flat].min() < true[below].max():
        return None
    return float(FOUR_TO_TWENTY.low + FOUR_TO_TWENTY.span * shown[flat].mean() / 100)


def _straight(
    true: np.ndarray, shown: np.ndarray, worth: float, principle: str | None
) -> list[Hint]:
    """P5 for an offset, P6 for an error in proportion, P7 for a shrunken span."""
    if np.ptp(true) < MOVED:
        offset = float((shown - true).mean())
        return [_offset(offset, principle)] if abs(offset) > worth else []
    offset, slope = _line(true, shown)
    growth = 100 * (slope - 1)
    if SHRUNK[0] <= slope <= SHRUNK[1] and principle in (None, *CAPACITANCE):
        pattern = f"span shrunk to {100 * slope:.0f} % of itself, as with a lost tank reference"
        return [_hint("P7", pattern, principle), _growth(growth, principle)]
    hints = []
    if abs(offset) > worth:
        hints.append((abs(offset), _offset(offset, principle)))
    if abs(growth) > worth:
        hints.append((abs(growth), _growth(growth, principle)))
    return [hint for _, hint in sorted(hints, key=lambda pair: -pair[0])]


def _offset(offset: float, principle: str | None) -> Hint:
    return _hint("P5", f"the same offset everywhere, {offset:+.2f} % of span", principle)


def _growth(growth: float, principle: str | None) -> Hint:
    return _hint(
        "P6", f"an error that grows in proportion, {growth:+.2f} % of the reading", principle
    )


def _lag(
    true: np.ndarray, shown: np.ndarray, up: np.ndarray, worth: float, principle: str | None
) -> list[Hint]:
    """P8: up differs from down at one point."""
    points = true.round(6)
    both = set(points[up]) & set(points[~up])
    gaps = [
        float(shown[(points == p) & ~up].mean() - shown[(points == p) & up].mean()) for p in both
    ]
    largest = max(gaps, key=abs, default=0.0)
    if abs(largest) <= worth:
        return []
    return [_hint("P8", f"falling differs from rising by {largest:+.2f} % of span", principle)]


def noise_hints(
    readings: ArrayLike, *, spread: float = 0.005, principle: str | None = None
) -> tuple[Hint, ...]:
    """P9 from repeated readings at one steady level, mA: noise, or jumps between two values.

    spread: how far the readings may lie apart, mA (common practice). Raises BadArgument for fewer
    than three.

    >>> noise_hints([12.001, 12.002, 12.001])
    ()
    """
    currents = np.ravel(numbers("readings", readings))
    if currents.size < 3:
        raise BadArgument("readings", "at least three are needed")
    above_zero("spread", spread)
    apart = float(np.ptp(currents))
    if apart <= spread:
        return ()
    high = currents > (currents.max() + currents.min()) / 2
    inner = max(float(np.ptp(currents[high])), float(np.ptp(currents[~high])))
    kind = "jumps between two values" if inner <= apart / 5 else "noise"
    return (_hint("P9", f"{kind}, {apart:.3f} mA apart at a steady level", principle),)


def stage_hints(
    simulated_error: float, wetted_error: float, *, tolerance: float
) -> tuple[Hint, ...]:
    """P10 from the error on simulated output and on wetted level near the same current, % of span.

    Wrong on the wetted level alone points to the primary element, wrong by the same on both to
    the output stage.

    >>> stage_hints(0.02, 0.9, tolerance=1.0)[0].checks[0]
    "check the primary element and the product's data"
    """
    above_zero("tolerance", tolerance)
    if not np.isfinite([simulated_error, wetted_error]).all():
        raise BadArgument("simulated_error, wetted_error", "not a number")
    worth = WORTH * tolerance
    if abs(wetted_error) <= worth and abs(simulated_error) <= worth:
        return ()
    if abs(simulated_error) <= worth:
        return (_hint("P10 primary", "right on simulated output, wrong on wetted level"),)
    if abs(wetted_error - simulated_error) <= worth:
        return (_hint("P10 output", "wrong by the same on simulated output and wetted level"),)
    return ()
