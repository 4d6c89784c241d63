"""Register files for tests, and all that they fill."""

from __future__ import annotations

from plant.points.models import MeasuringPoint
from plant.transmitters.models import Installation, Transmitter

HEADER = "tag,tank,LRV (m),URV (m),tolerance"
FULL = (
    "tag,tank,indicates,LRV (m),URV (m),signal,tolerance,tolerance unit,interval (months),last "
    "calibrated,serial,"
    "maker,principle,installed\n"
    "LT-101A,T-101,level,0.3,11.4,4-20mA,4,mm,3,2026-09-14,TW80113,Tarn & Weir,radar,2020-03-02\n"
    "LT-101B,T-101,level,11.4,0.3,4-20mA,1,%,12,,TW10001,Tarn & Weir,hydrostatic,2020-03-02\n"
)


def book() -> list[list[dict]]:
    return [
        list(m.objects.order_by("pk").values()) for m in (MeasuringPoint, Transmitter, Installation)
    ]


def rows(header: str, *lines: str) -> str:
    return "\n".join([header, *lines, ""])
