"""Checks of arguments that all functions of the cores share, and the refusal that they raise."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


class BadArgument(ValueError):
    """An argument from which no answer can be computed. Attributes: argument, reason."""

    def __init__(self, argument: str, reason: str) -> None:
        self.argument, self.reason = argument, reason
        super().__init__(f"{argument}: {reason}")


def numbers(argument: str, values: ArrayLike) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first that is not a number."""
    array = np.asarray(values, dtype=float)
    _check(argument, array, np.isfinite(array), "not a number; leave out readings not taken")
    return array


def not_below_zero(argument: str, values: ArrayLike) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first below zero, NaN or ∞."""
    array = np.asarray(values, dtype=float)
    good = np.isfinite(array) & (array >= 0)
    _check(argument, array, good, "not a number, zero or above")
    return array


def above_zero(argument: str, values: ArrayLike, *, finite: bool = True) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first not above zero.

    finite: whether infinity is refused too; NaN always is.
    """
    array = np.asarray(values, dtype=float)
    good = (array > 0) & (np.isfinite(array) | (not finite))
    _check(argument, array, good, "not above zero")
    return array


def share(argument: str, value: float) -> float:
    """The value, a share such as a confidence. Raises BadArgument unless it is between 0 and 1."""
    if not 0 < value < 1:
        raise BadArgument(argument, f"{value} is not between 0 and 1")
    return value


def _check(argument: str, array: np.ndarray, good: np.ndarray, fault: str) -> None:
    if good.all():
        return
    place = int((~good).ravel().argmax())
    where = f" at place {place + 1}" if array.ndim else ""
    raise BadArgument(argument, f"{array.ravel()[place]:g}{where} is {fault}")
