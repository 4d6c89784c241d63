"""The demo's reference standards, their certificates, and the meter that turned out bad."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from calibration.demo.laws import Chance

LABORATORY = ("Heron Metrology Laboratory", "HML 0412")
FIRST_DAY = dt.date(2019, 9, 1)
BAD_METER, BAD_SINCE, BAD_GAIN = "MM-04", dt.date(2026, 4, 2), 1 + 0.030 / 20
"""It read 0.030 mA too much at 20 mA, in proportion, before anybody knew."""
BAD_FOUND = dt.date(2026, 10, 29)


@dataclass(frozen=True)
class Standard:
    name: str
    site: str
    kind: str
    model: str
    months: int
    renewed: tuple[int, int]  # month and day on which it comes back from the laboratory
    unit: str
    top: str
    of_reading: str
    absolute: str
    resolution: str
    last_until: dt.date | None = None  # its last certificate ended there and was not renewed

    @property
    def serial(self) -> str:
        return f"{self.name[-2:]}{sum(map(ord, self.name + self.kind)) % 9000 + 1000}"


def _meter(name: str, site: str, renewed: tuple[int, int], **more) -> Standard:
    return Standard(
        name, site, "multimeter", "M6", 12, renewed, "mA", "24", "0.02", "0.002", "0.001", **more
    )


STANDARDS = (
    _meter("MM-01", "M", (2, 10)),
    _meter("MM-07", "M", (10, 13), last_until=dt.date(2026, 10, 13)),
    Standard("LC-01", "M", "loop calibrator", "L2", 12, (5, 6), "mA", "24", "0.015", "0.002", "0.001"),
    Standard("DB-01", "M", "capacitance decade box", "D9", 24, (6, 3), "pF", "11000", "0.5", "2", "1"),
    Standard("DT-01", "M", "dip tape", "Class II, 15 m", 12, (3, 4), "mm", "15000", "", "0.5", "1"),
    Standard("DT-02", "M", "dip tape", "Class II, 15 m", 12, (9, 9), "mm", "15000", "", "0.5", "1"),
    Standard("PC-01", "M", "pressure calibrator", "P2", 12, (1, 20), "kPa", "200", "0.025", "0.02", "0.001"),
    Standard("LS-01", "M", "laser or steel tape", "Beam 40", 12, (4, 15), "mm", "40000", "0.005", "1", "0.1"),
    Standard("TH-01", "M", "thermometer", "T1", 12, (7, 1), "°C", "150", "", "0.3", "0.1"),
    _meter("MM-03", "O", (6, 22)),
    _meter("MM-04", "O", (3, 16)),
    Standard("DT-03", "O", "dip tape", "Class II, 10 m", 12, (5, 12), "mm", "10000", "", "0.5", "1"),
    Standard("PC-02", "O", "pressure calibrator", "P2", 12, (2, 3), "kPa", "200", "0.025", "0.02", "0.001"),
    Standard("LS-02", "O", "laser or steel tape", "Beam 40", 12, (8, 18), "mm", "40000", "0.005", "1", "0.1"),
    Standard("WT-01", "O", "weights", "M2 set", 24, (11, 10), "g", "5000", "0.016", "", "0.1"),
    Standard("HY-01", "O", "hydrometer", "H 0.9", 36, (4, 4), "kg/m3", "1000", "", "1", "0.5"),
    _meter("MM-05", "N", (1, 8)),
    _meter("MM-06", "N", (7, 14)),
    Standard("DT-04", "N", "dip tape", "Class II, 10 m", 12, (11, 14), "mm", "10000", "", "0.5", "1"),
    Standard("PC-03", "N", "pressure calibrator", "P2", 12, (10, 6), "kPa", "200", "0.025", "0.02", "0.001"),
    Standard("LS-03", "N", "laser or steel tape", "Beam 40", 12, (3, 25), "mm", "40000", "0.005", "1", "0.1"),
    Standard("WT-02", "N", "weights", "M2 set", 24, (9, 1), "g", "5000", "0.016", "", "0.1"),
    Standard("BT-01", "N", "bond or insulation tester", "B1", 12, (12, 2), "ohm", "2000", "2", "0.02", "0.01"),
)  # fmt: skip


@dataclass(frozen=True)
class Certificate:
    number: str
    issued: dt.date
    valid_until: dt.date


def certificates_of(standard: Standard, *, until: dt.date) -> list[Certificate]:
    """One after the other without a gap, the last one covering ``until`` unless the standard was let lapse."""
    month, day = standard.renewed
    issued, made = dt.date(FIRST_DAY.year - 2, month, day), []
    while issued <= until:
        ends = issued.replace(year=issued.year + standard.months // 12)
        if standard.last_until is None or ends <= standard.last_until:
            made.append(
                Certificate(f"H-{issued:%y}-{standard.name.replace('-', '')}", issued, ends)
            )
        issued = ends
    return [one for one in made if one.valid_until >= FIRST_DAY]


def standards_for(site: str, kinds: tuple[str, ...], day: dt.date, chance: Chance) -> list[str]:
    """One standard of each kind, in date on the day; where there are two, chance picks."""
    chosen = []
    for kind in kinds:
        fit = [s for s in STANDARDS if (s.site, s.kind) == (site, kind) and _covers(s, day)]
        chosen.append(fit[chance.randint(len(fit))].name)
    return chosen


def _covers(standard: Standard, day: dt.date) -> bool:
    if standard.name == BAD_METER and day >= BAD_FOUND:
        return False
    return standard.last_until is None or day <= standard.last_until


def meter_gain(standards: list[str], day: dt.date) -> float:
    """What the meter in use made of one milliamp, as far as it was wrong."""
    return BAD_GAIN if BAD_METER in standards and day >= BAD_SINCE else 1.0
