"""The uncertainty of a test's errors as its readings have it, and what a record keeps of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from calibration.metrology.decision import uncertainty_ratio
from calibration.metrology.uncertainty import DIVISORS, Component, scaled
from plant.level.tolerance import Limits

PROBABILITY = 0.95
OF_ALL = ("components", "assumed", "lasting", "stems", "corrections", "beside", "check_tools")


@dataclass(frozen=True)
class Correction:
    """Of a standard's certified deviation: it shows so much too high, in the certificate's unit.
    shift: what that makes of each value it measured; once in % of span, of each error.
    """

    standard: str
    deviation: float
    unit: str
    shift: np.ndarray

    def scaled(self, by: Any) -> Correction:
        return replace(self, shift=self.shift * by)


@dataclass(frozen=True)
class Parts:
    """Components in % of span. assumed: names of those that nobody has measured; lasting: of those
    that are the same on every visit, such as the datum plate, and so cancel in what drifts between
    two of them; stems: names of standards by the names of the components that their certificates
    give; corrections: of certified deviations."""

    components: tuple[Component, ...]
    assumed: frozenset[str] = frozenset()
    lasting: frozenset[str] = frozenset()
    stems: Mapping[str, str] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()

    def __add__(self, other: Parts) -> Parts:
        return Parts(
            self.components + other.components,
            self.assumed | other.assumed,
            self.lasting | other.lasting,
            {**self.stems, **other.stems},
            self.corrections + other.corrections,
        )

    def scaled(self, by: Any) -> Parts:
        return replace(
            self,
            components=scaled(self.components, by),
            corrections=tuple(one.scaled(by) for one in self.corrections),
        )


@dataclass(frozen=True)
class Uncertainty:
    """One place a reading, % of span. u, expanded: standard and expanded uncertainty of its error;
    k, dof: of each.

    parts, shares, values, sensitivities: components by readings; by: what k rests on; shift: by
    how much certified deviations of the standards moved each error; beside: standards listed of
    which no part came; check_tools: those that only a step asks for.
    """

    u: np.ndarray
    expanded: np.ndarray
    k: np.ndarray
    dof: np.ndarray
    percent: np.ndarray
    by: np.ndarray
    parts: np.ndarray
    shares: np.ndarray
    values: np.ndarray
    sensitivities: np.ndarray
    shift: np.ndarray
    components: tuple[Component, ...]
    assumed: frozenset[str]
    lasting: frozenset[str]
    stems: Mapping[str, str]
    corrections: tuple[Correction, ...]
    beside: tuple[str, ...]
    check_tools: tuple[str, ...]

    def some(self, rows: slice) -> Uncertainty:
        """Of some of the readings."""
        names = [f.name for f in fields(self) if f.name not in OF_ALL]
        return replace(self, **{name: getattr(self, name)[..., rows] for name in names})

    def columns(self, limits: Limits) -> dict[str, Any]:
        """What a record keeps of it: the figures as its columns are named, and the budget where U
        is largest.
        """
        worst = int(self.expanded.argmax())
        lasts = np.array([c.name in self.lasting for c in self.components])
        of_the_day = np.array([c.shared for c in self.components]) & ~lasts
        shared = np.sqrt(np.square(self.parts[of_the_day]).sum(axis=0))
        u = np.sqrt(np.square(self.parts[~lasts]).sum(axis=0))
        columns: dict[str, Any] = {
            "expanded_percent": float(self.expanded[worst]),
            "coverage_factor": float(self.k[worst]),
            "tur": _ratio(limits, self.expanded[worst]),
            "budget": self.budget(worst),
        }
        for end, target in (("zero", 0.0), ("span", 100.0)):
            at = int(np.abs(self.percent - target).argmin())
            columns[f"u_{end}"] = float(u[at])
            columns[f"u_{end}_shared"] = float(min(shared[at], u[at]))
        return columns

    def budget(self, at: int) -> dict[str, Any]:
        """The components at one reading, the largest share first; as it is stored."""
        rows = [
            {
                "name": c.name,
                "value": float(self.values[n, at]),
                "shape": c.shape.value,
                "divisor": DIVISORS[c.shape] if c.divisor is None else c.divisor,
                "sensitivity": float(self.sensitivities[n, at]),
                "dof": _finite(float(np.asarray(c.dof))),
                "u": float(abs(self.parts[n, at])),
                "share": float(self.shares[n, at]),
                "shared": c.shared,
                "assumed": c.name in self.assumed,
                "standard": self.stems.get(c.name, ""),
            }
            for n, c in enumerate(self.components)
        ]
        return {
            "at_percent": float(self.percent[at]),
            "u": float(self.u[at]),
            "U": float(self.expanded[at]),
            "k": float(self.k[at]),
            "dof": _finite(float(self.dof[at])),
            "probability": PROBABILITY,
            "by": str(self.by[at]),
            "components": sorted(rows, key=lambda row: -row["share"]),
            "corrections": [
                {
                    "standard": one.standard,
                    "deviation": one.deviation,
                    "unit": one.unit,
                    "most": float(np.abs(one.shift).max()),
                }
                for one in self.corrections
            ],
            "beside": list(self.beside),
            "check_tools": list(self.check_tools),
        }


def _ratio(limits: Limits, expanded: float) -> float | None:
    """None for a one-sided tolerance, which has no width to divide."""
    return None if limits.is_one_sided else float(uncertainty_ratio(limits.half, expanded))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
