"""Decision rules: from errors and a tolerance to a verdict."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

# 0.3 % of span computed from mA may come out a hair above 0.3: in % of span this much is rounding, a thousandth
# of what any loop meter shows.
SLACK = 1e-9


class Verdict(StrEnum):
    """inconclusive: the uncertainty straddles the limit; it is never a silent pass."""

    PASS = "pass"  # noqa: S105 - a verdict, no password
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


def within_tolerance(errors: ArrayLike, tolerance: ArrayLike) -> np.ndarray:
    """Where |error| ≤ tolerance, SLACK allowed; both in % of span, shapes broadcast.

    Raises ValueError for an error that is not a number or a tolerance not above zero.

    >>> within_tolerance([0.3, -0.31], 0.3).tolist()
    [True, False]
    """
    errors, tolerance = np.asarray(errors, dtype=float), np.asarray(tolerance, dtype=float)
    if not np.isfinite(errors).all():
        raise ValueError("errors: not a number; leave out readings that were not taken")
    if not (tolerance > 0).all():
        raise ValueError("tolerance: it must be above zero")
    inside: np.ndarray = np.abs(errors) <= tolerance + SLACK
    return inside


def accept_simply(errors: ArrayLike, tolerance: ArrayLike) -> list[Verdict]:
    """Simple acceptance, a verdict for each error: within tolerance passes, whatever the uncertainty.

    Source: JCGM 106:2012, 8.2 (from memory). Raises as within_tolerance.
    """
    inside = np.atleast_1d(within_tolerance(errors, tolerance))
    return [Verdict.PASS if ok else Verdict.FAIL for ok in inside]


def worst(verdicts: Iterable[str]) -> Verdict:
    """The verdict of the whole: one fail fails it, else one inconclusive leaves it open.

    Raises ValueError without any verdict: nothing tested is no pass.

    >>> worst([Verdict.PASS, Verdict.INCONCLUSIVE]).value
    'inconclusive'
    """
    said = {Verdict(verdict) for verdict in verdicts}
    for verdict in (Verdict.FAIL, Verdict.INCONCLUSIVE, Verdict.PASS):
        if verdict in said:
            return verdict
    raise ValueError("verdicts: there is none, and nothing tested is no pass")
