"""The charts, each one Vega-Lite dict: drawn in the page by its script and to SVG for print."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple


class WorkWeek(NamedTuple):
    """One week of the workload picture."""

    starts_on: date
    hours: float
    points: int
    url: str = ""
