from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

import numpy as np


class Verdict(StrEnum):
    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


def accept_simply(errors, tolerance) -> list[Verdict]:
    inside = np.abs(np.asarray(errors, dtype=float)) <= np.asarray(tolerance) + 1e-9
    return [Verdict.PASS if ok else Verdict.FAIL for ok in np.atleast_1d(inside)]


def worst(verdicts: Iterable[str]) -> Verdict:
    said = set(verdicts)
    for verdict in (Verdict.FAIL, Verdict.INCONCLUSIVE):
        if verdict.value in said:
            return verdict
    return Verdict.PASS
