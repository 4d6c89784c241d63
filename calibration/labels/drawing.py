"""A label as it is printed: a plate, and a square code that opens the point."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import segno
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from plant.points.models import MeasuringPoint


@dataclass(frozen=True)
class Label:
    """size: modules a side, its quiet zone with it. path: the dark modules, as an SVG path in
    modules.
    """

    point: MeasuringPoint
    serial: str
    address: str
    size: int
    path: str
    day: dt.date

    @property
    def warning(self) -> str:
        """The status on the day of print where the reading is not to be relied on, else ""."""
        status = self.point.status(self.day)
        return "" if status.kind in ("ok", "soon") else status.text


def label_of(point: MeasuringPoint) -> Label:
    address = settings.PUBLIC_URL.rstrip("/") + reverse(
        "calibration:find", args=[point.site.code, point.tag]
    )
    present = getattr(point, "present", [])
    code = segno.make_qr(address, error="m")
    quiet = 4  # modules, as ISO/IEC 18004 asks for (from memory)
    runs = [
        f"M{x + quiet} {y + quiet}h1v1h-1z"
        for y, row in enumerate(code.matrix)
        for x, dark in enumerate(row)
        if dark
    ]
    serial = present[0].transmitter.serial if present else ""
    day = point.site.day_of(timezone.now())
    return Label(point, serial, address, len(code.matrix) + 2 * quiet, "".join(runs), day)
