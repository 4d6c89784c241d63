"""Whatever number a function of the pure cores is given, it answers or names the argument."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import calibration.metrology
import plant.level
from calibration.metrology.reliability import rate_limit
from plant.level.bounds import OutsideTank
from plant.level.checks import BadArgument
from plant.level.signals import ZeroSpan
from tests.calibration.metrology.core_calls import ALL_IN, CALLS, NO_NUMBERS, RESULTS

WORST = [np.nan, np.inf, -np.inf, -1.0, 0.0, 1e308, -1e308, 1e-308, 0.3, 7.0]


def names_of_public_functions() -> set[str]:
    names = set()
    for core in (plant.level, calibration.metrology):
        for module in pkgutil.iter_modules(core.__path__):
            loaded = importlib.import_module(f"{core.__name__}.{module.name}")
            names |= {
                name
                for name, value in vars(loaded).items()
                if inspect.isfunction(value)
                and not name.startswith("_")
                and value.__module__ == loaded.__name__
            }
    return names


def test_every_public_function_of_both_cores_is_walked():
    walked = {function.__name__ for function, _ in CALLS}
    assert names_of_public_functions() - walked == NO_NUMBERS


def is_number(value) -> bool:
    if isinstance(value, bool | str):
        return False
    try:
        return np.asarray(value).dtype.kind in "if"
    except ValueError:
        return False


NUMBERS = [
    (place, name)
    for place, (_, arguments) in enumerate(CALLS)
    for name, value in arguments.items()
    if is_number(value)
]


def spoilt(value, worst: float, at: int):
    """The value with one number in it replaced; a whole number by a whole one where there is
    one.
    """
    array = np.array(value, dtype=float)
    array.flat[at % array.size] = worst
    if isinstance(value, int) and np.isfinite(worst) and abs(worst) < 1e18:
        return int(array)
    if array.ndim == 0:
        return float(array)
    return array if isinstance(value, np.ndarray) else array.tolist()


def numbers_in(result) -> list[np.ndarray]:
    if dataclasses.is_dataclass(result):
        return numbers_in([getattr(result, f.name) for f in dataclasses.fields(result)])
    if isinstance(result, tuple | list):
        return [array for part in result for array in numbers_in(part)]
    array = np.asarray(result)
    return [array] if array.dtype.kind == "f" else []


# Where not-a-number has a meaning of its own: not read, or none yet.
MAY_BE_MISSING = {
    ("expected_at", "observed"),
    ("propose", "current"),
    ("histories", "years"),
    ("histories", "as_found"),
    ("histories", "as_left"),
    ("gather", "as_found"),
    ("gather", "as_left"),
    ("robust_lines", "years"),
    ("robust_lines", "values"),
    ("percent_at", "value"),
    ("signal_at", "value"),
    ("expected_at", "value"),
    ("value_at", "observed"),
    ("to_metres", "value"),
    ("from_metres", "value"),
    ("to_cubic_metres", "value"),
    ("from_cubic_metres", "value"),
}


# Where it says that the readings do not show a figure.
MAY_NOT_BE_SHOWN = {
    "figures_fleet",
    "full_figures",
    "linearity",
    "mean_curves",
    "repeatability_fleet",
    "shape_of",
}
REFUSALS = (BadArgument, OutsideTank, ZeroSpan)


@pytest.mark.parametrize(
    ("place", "name"), NUMBERS, ids=[f"{CALLS[p][0].__qualname__}-{n}" for p, n in NUMBERS]
)
def test_a_number_is_answered_or_its_argument_is_named(place, name):
    function, arguments = CALLS[place]
    for worst in WORST:
        for at in range(min(np.size(arguments[name]), 3)):
            given_ = arguments | {name: spoilt(arguments[name], worst, at)}
            try:
                result = function(**given_)
            except REFUSALS:
                continue
            if function.__name__ in MAY_NOT_BE_SHOWN:
                continue
            if np.isnan(worst) and (function.__name__, name) in MAY_BE_MISSING:
                continue
            for array in numbers_in(result):
                assert not np.isnan(array).any(), (worst, at, result)


@settings(max_examples=300)
@given(data=st.data())
def test_any_numbers_in_any_call_are_answered_or_an_argument_is_named(data):
    function, arguments = CALLS[data.draw(st.integers(0, len(CALLS) - 1))]
    names = [name for name, value in arguments.items() if is_number(value)]
    for name in data.draw(st.lists(st.sampled_from(names), unique=True)) if names else ():
        worst = data.draw(st.floats() | st.sampled_from(WORST))
        at = data.draw(st.integers(0, 9))
        arguments = arguments | {name: spoilt(arguments[name], worst, at)}
    try:
        result = function(**arguments)
    except REFUSALS:
        return
    if function.__name__ in MAY_NOT_BE_SHOWN | {name for name, _ in MAY_BE_MISSING}:
        return
    assert not any(np.isnan(array).any() for array in numbers_in(result))


@pytest.mark.parametrize("results", [RESULTS, ALL_IN])
@pytest.mark.parametrize("confidence", [0.5, 0.6, 0.95, 0.999])
def test_an_upper_limit_of_a_rate_is_not_below_its_estimate(results, confidence):
    limit = rate_limit(results, confidence=confidence)
    assert limit.upper >= (limit.estimate or 0.0) * (1 - 1e-9)
    for too_low in (0.499, 0.3, -1.0):
        with pytest.raises(BadArgument, match="confidence"):
            rate_limit(results, confidence=too_low)
