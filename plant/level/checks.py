"""Checks of arguments that all functions of the cores share, and the refusal that they raise."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numpy.typing import ArrayLike

P = ParamSpec("P")
T = TypeVar("T")
# Beyond these a number is no measurement, and its powers leave the range of floats.
LARGEST, SMALLEST = 1e15, 1e-30


class BadArgument(ValueError):
    """An argument from which no answer can be computed. Attributes: argument, reason."""

    def __init__(self, argument: str, reason: str) -> None:
        self.argument, self.reason = argument, reason
        super().__init__(f"{argument}: {reason}")


def numbers(argument: str, values: ArrayLike) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first that is not a number."""
    array = np.asarray(values, dtype=float)
    _check(argument, array, np.isfinite(array), "not a number; leave out readings not taken")
    _check_size(argument, array)
    return array


def not_below_zero(argument: str, values: ArrayLike) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first below zero, NaN or ∞."""
    array = np.asarray(values, dtype=float)
    good = np.isfinite(array) & (array >= 0)
    _check(argument, array, good, "not a number, zero or above")
    _check_size(argument, array)
    return array


def above_zero(argument: str, values: ArrayLike, *, finite: bool = True) -> np.ndarray:
    """The values as an array of floats. Raises BadArgument for the first not above zero.

    finite: whether infinity is refused too; NaN always is.
    """
    array = np.asarray(values, dtype=float)
    good = (array > 0) & (np.isfinite(array) | (not finite))
    _check(argument, array, good, "not above zero")
    _check(argument, array, array >= SMALLEST, "too small to compute with")
    _check_size(argument, array)
    return array


def share(argument: str, value: float) -> float:
    """The value, a share such as a confidence. Raises BadArgument unless it is between 0 and 1."""
    if not 0 < value < 1:
        raise BadArgument(argument, f"{value} is not between 0 and 1")
    return value


def whole_numbers(argument: str, values: ArrayLike, *, below: float = LARGEST) -> np.ndarray:
    """The values as an array of whole numbers from 0 up. Raises BadArgument for the first that is
    none, or not below ``below``.
    """
    array = np.asarray(values, dtype=float)
    good = (array >= 0) & (array < below) & (np.floor(array) == array)
    _check(argument, array, good, f"not a whole number from 0 up to {below:g}")
    return array.astype(int)


def takes_numbers(*names: str) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Have a function refuse, by its name, an argument that is no number to compute with."""
    return _checked(names, numbers)


def limits_size(*names: str) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Have a function refuse, by its name, an argument too large to compute with: where NaN stands
    for what was not read, ∞ for no limit, or the function looks for both itself.
    """
    return _checked(names, _check_size)


def _checked(
    names: tuple[str, ...], check: Callable[[str, Any], Any]
) -> Callable[[Callable[P, T]], Callable[P, T]]:
    def decorated(function: Callable[P, T]) -> Callable[P, T]:
        places = list(inspect.signature(function).parameters)
        where = [(name, places.index(name)) for name in names]

        @functools.wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> T:
            for name, at in where:
                value: Any = args[at] if at < len(args) else kwargs.get(name)
                if value is not None:
                    check(name, np.asarray(value, dtype=float))
            return function(*args, **kwargs)

        return checked

    return decorated


def _check_size(argument: str, array: np.ndarray) -> None:
    size = np.abs(array)
    _check(argument, array, ~(size > LARGEST) | np.isinf(size), "too large to compute with")


def _check(argument: str, array: np.ndarray, good: np.ndarray, fault: str) -> None:
    if good.all():
        return
    place = int((~good).ravel().argmax())
    where = f" at place {place + 1}" if array.ndim else ""
    raise BadArgument(argument, f"{array.ravel()[place]:g}{where} is {fault}")
