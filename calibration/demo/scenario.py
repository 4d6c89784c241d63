"""The demo's plant: an edible-oil terminal, a refinery depot and a soap works, all invented, with their people."""

from __future__ import annotations

import datetime as dt
import zlib
from dataclasses import dataclass, replace

import numpy as np

from calibration.demo.laws import CUSTODY, FAMILIES, Chance, Family, Law, draw_law
from calibration.metrology.due import add_months

SEED = 20_261_102
AS_OF = dt.date(2026, 11, 2)
"""A Monday. The loader shifts everything by whole weeks."""
START = dt.date(2020, 11, 2)

SITES = (
    # code, name, time zone, crew hours a week
    ("M", "Marram Point", "Europe/Lisbon", "14"),
    ("O", "Osier Lock", "Europe/Warsaw", "12"),
    ("N", "Neelghat", "Asia/Kolkata", "8"),
)
PEOPLE = (
    # user name, name, role, sites
    ("ethornquay", "E. Thornquay", "administrator", "M O N"),
    ("amarrowby", "A. Marrowby", "planner", "M"),
    ("hwistrelm", "H. Wistrelm", "planner", "O"),
    ("vsarnekar", "V. Sarnekar", "planner", "N"),
    ("tquillane", "T. Quillane", "technician", "M"),
    ("rostervane", "R. Ostervane", "technician", "M"),
    ("jkelmorn", "J. Kelmorn", "technician", "O"),
    ("bzawidor", "B. Zawidor", "technician", "O"),
    ("crostavin", "C. Rostavin", "technician", "O"),
    ("kpalushe", "K. Palushe", "technician", "N"),
    ("dombrani", "D. Ombrani", "technician", "N"),
    ("sfenharrow", "S. Fenharrow", "approver", "M O"),
    ("piyerkand", "P. Iyerkand", "approver", "N"),
    ("ldravane", "L. Dravane", "auditor", "M O N"),
)

# name: conducts, permittivity, at °C, density kg/m³, at °C, density a kelvin, sites. Oils change by −0.004 a kelvin.
PRODUCTS = {
    "palm olein": ("no", "3.05", "40", "900", "40", "-0.68", "M O N"),
    "soybean oil": ("no", "3.15", "25", "917", "25", "-0.68", "M O"),
    "sunflower oil": ("no", "3.13", "25", "916", "25", "-0.68", "M O"),
    "coconut oil": ("no", "2.95", "35", "913", "35", "-0.68", "M"),
    "palm stearin": ("no", "2.90", "60", "882", "60", "-0.68", "M N"),
    "fatty acid": ("no", "2.60", "60", "870", "60", "-0.68", "N"),
    "molasses": ("yes", "", "", "1400", "30", "", "M"),
    "fire water": ("yes", "80.1", "20", "998", "20", "", "M"),
    "slops": ("yes", "", "", "1005", "20", "", "M"),
    "boiler feed water": ("yes", "80.1", "20", "998", "20", "", "O"),
    "citric acid 50 %": ("yes", "", "", "1240", "20", "", "O"),
    "lye 32 %": ("yes", "", "", "1349", "20", "", "O N"),
    "soapstock": ("yes", "", "", "1000", "70", "", "O"),
    "spent lye": ("yes", "", "", "1150", "60", "", "N"),
    "brine 26 %": ("yes", "", "", "1197", "20", "", "N"),
    "soap": ("yes", "", "", "1020", "85", "", "N"),
    "glycerine": ("yes", "45", "20", "1261", "20", "", "N"),
    "sulphuric acid 20 %": ("yes", "", "", "1140", "20", "", "N"),
}


@dataclass(frozen=True)
class TankKind:
    """Tanks of one build; dimensions in metres."""

    site: str
    numbers: tuple[int, ...]
    area: str
    shape: str
    size: dict[str, str]
    levels: tuple[str, str]
    products: tuple[str, ...]
    celsius: str
    wall_conducts: bool = True


def _round(diameter: str, height: str, bottom: str = "flat", bottom_depth: str = "", roof: str = "cone",
           roof_depth: str = "0.6", datum: str = "0.05") -> dict[str, str]:  # fmt: skip
    return {
        "diameter": diameter, "height": height, "bottom": bottom, "bottom depth": bottom_depth,
        "roof": roof, "roof depth": roof_depth, "datum": datum,
    }  # fmt: skip


_FLAT = {"roof": "flat", "roof_depth": ""}
TANKS = (
    TankKind("M", tuple(range(101, 109)), "Quay park", "vertical", _round("11", "12", roof_depth="0.9"),
             ("0.3", "11.5"), ("palm olein", "palm olein", "sunflower oil", "soybean oil", "palm olein",
                               "palm stearin", "sunflower oil", "soybean oil"), "40"),
    TankKind("M", (111, 112, 113, 114), "Mid park", "vertical", _round("8.5", "10.7"), ("0.3", "10.3"),
             ("soybean oil", "palm olein", "palm olein", "sunflower oil"), "38"),
    TankKind("M", (121, 122), "Molasses", "vertical", _round("6", "8", "dished", "", datum="0.3"), ("0.4", "7.9"),
             ("molasses",), "32"),
    TankKind("M", (131, 132), "Coconut oil", "horizontal",
             {"diameter": "2.6", "length": "8.4", "bottom": "dished"}, ("0.1", "2.5"), ("coconut oil",), "35"),
    TankKind("M", (141,), "Services", "vertical", _round("10", "8", **_FLAT), ("0.5", "7.6"), ("fire water",), "15"),
    TankKind("M", (142,), "Services", "rectangular",
             {"length": "6", "width": "4", "height": "3", "roof": "open"}, ("0.1", "2.8"), ("slops",), "18"),
    TankKind("O", tuple(range(201, 207)), "Refined oil", "vertical", _round("6.5", "9.1"), ("0.3", "8.8"),
             ("sunflower oil", "soybean oil", "palm olein"), "35"),
    TankKind("O", (211, 212), "Deodoriser", "vertical", _round("2.4", "5", "dished", "", "dished", "", "0"),
             ("0.4", "4.9"), ("sunflower oil", "palm olein"), "55"),
    TankKind("O", (221,), "Boiler house", "vertical", _round("2", "3", **_FLAT), ("0.2", "2.8"),
             ("boiler feed water",), "60"),
    TankKind("O", (222,), "Boiler house", "horizontal", {"diameter": "1.8", "length": "5", "bottom": "dished"},
             ("0.2", "1.7"), ("boiler feed water",), "95"),
    TankKind("O", (231,), "Dosing", "vertical", _round("1.5", "2.2", **_FLAT), ("0.1", "2.1"),
             ("citric acid 50 %",), "20", wall_conducts=False),
    TankKind("O", (232,), "Dosing", "vertical", _round("1.6", "2.4", **_FLAT), ("0.1", "2.3"),
             ("lye 32 %",), "22", wall_conducts=False),
    TankKind("O", (241,), "Soapstock", "vertical", _round("3", "4", "cone", "1.2", datum="0"), ("0.5", "5"),
             ("soapstock",), "70"),
    TankKind("N", (301, 302), "Palm receipt", "vertical", _round("9", "9"), ("0.3", "8.7"),
             ("palm olein", "palm stearin"), "45"),
    TankKind("N", (311, 312), "Lye", "vertical", _round("4", "5"), ("0.2", "4.8"), ("lye 32 %",), "30"),
    TankKind("N", (321,), "Lye", "vertical", _round("3.5", "4.5", **_FLAT), ("0.2", "4.3"),
             ("brine 26 %",), "28", wall_conducts=False),
    TankKind("N", (322,), "Lye", "vertical", _round("3", "4"), ("0.2", "3.8"), ("spent lye",), "60"),
    TankKind("N", (331, 332), "Soap pans", "vertical", _round("4.5", "5", "cone", "1", "open", "", "0"),
             ("0.5", "5.6"), ("soap",), "85"),
    TankKind("N", (341,), "Finishing", "vertical", _round("2.5", "4"), ("0.2", "3.8"), ("glycerine",), "40"),
    TankKind("N", (342,), "Finishing", "vertical", _round("3", "5"), ("0.2", "4.8"), ("fatty acid",), "62"),
    TankKind("N", (351,), "Finishing", "vertical", _round("3.2", "4", **_FLAT), ("0.2", "3.8"),
             ("sulphuric acid 20 %",), "35", wall_conducts=False),
)  # fmt: skip

# letter, tanks, family, LRV, URV, duty, what is special. Levels in m above the datum plate.
Q = tuple(range(101, 109))
POINTS = (
    ("A", Q, CUSTODY, "0.3", "11.4", "custody", ""),
    ("B", Q[:4], "hydrostatic", "0.3", "11.3", "general", ""),
    ("D", Q[:5], "rod, insulating", "10.2", "11.6", "safety", ""),
    ("D", Q[5:], "float", "10.2", "11.6", "safety", ""),
    ("A", (111, 112, 113, 114), "radar", "0.3", "10.2", "general", ""),
    ("B", (111, 112, 113, 114), "rope, insulating", "0.3", "10.2", "general", ""),
    ("C", (113, 114), "guided wave", "0.3", "10.2", "general", ""),
    ("A", (121, 122), "radar", "0.5", "7.5", "general", ""),
    ("B", (121, 122), "differential pressure", "0.5", "7.5", "general", ""),
    ("C", (121, 122), "rope, molasses", "0.5", "7.5", "general", ""),
    ("A", (131, 132), "magnetostrictive", "0", "44", "quality", "volume"),
    ("B", (131, 132), "magnetostrictive", "0", "0.5", "quality", ""),
    ("C", (131, 132), "guided wave", "0", "44", "general", "volume"),
    ("A", (141,), "ultrasonic", "0.5", "7.5", "general", ""),
    ("B", (141,), "hydrostatic", "0.5", "7.5", "general", ""),
    ("A", (142,), "ultrasonic", "0.1", "2.7", "environment", ""),
    ("B", (142,), "rod, conducting", "0.1", "2.7", "environment", ""),
    ("A", tuple(range(201, 207)), "radar", "0.3", "8.7", "general", ""),
    ("B", tuple(range(201, 207)), "hydrostatic", "0.3", "8.7", "general", ""),
    ("C", tuple(range(201, 207)), "rope, insulating", "0.3", "8.7", "general", ""),
    ("D", (201, 202), "float", "7.6", "8.9", "safety", ""),
    ("D", (203, 204), "rod, insulating", "7.6", "8.9", "safety", ""),
    ("A", (211, 212), "differential pressure", "0.4", "4.8", "quality", ""),
    ("B", (211, 212), "guided wave", "0.4", "4.8", "quality", ""),
    ("C", (211, 212), "magnetostrictive", "0.4", "4.8", "quality", ""),
    ("A", (221,), "differential pressure", "0.2", "2.7", "general", ""),
    ("B", (221,), "displacer", "0.4", "2.4", "general", ""),
    ("C", (221,), "guided wave", "0.2", "2.7", "general", ""),
    ("A", (222,), "differential pressure", "0.2", "1.6", "general", ""),
    ("B", (222,), "displacer", "0.3", "1.5", "general", ""),
    ("C", (222,), "guided wave", "0.2", "1.6", "general", ""),
    ("A", (231,), "rod, conducting", "0.1", "2", "general", ""),
    ("B", (231,), "ultrasonic", "0.1", "2", "general", ""),
    ("A", (232,), "rod, conducting", "0.1", "2.2", "general", ""),
    ("B", (232,), "ultrasonic", "0.1", "2.2", "general", "reverse"),
    ("A", (241,), "displacer", "1.4", "4.4", "general", ""),
    ("B", (241,), "guided wave", "0.5", "4.9", "general", ""),
    ("C", (241,), "guided wave", "0.5", "4.9", "general", ""),
    ("E", (241,), "hydrostatic", "0.5", "4.9", "general", ""),
    ("A", (301, 302), "radar", "0.3", "8.6", "general", ""),
    ("B", (301, 302), "rope, insulating", "0.3", "8.6", "general", ""),
    ("C", (301, 302), "hydrostatic", "0.3", "8.6", "general", ""),
    ("D", (301,), "float", "7.4", "8.8", "safety", ""),
    ("D", (302,), "rod, insulating", "7.4", "8.8", "safety", ""),
    ("A", (311,), "rod, conducting", "0.2", "4.7", "general", "1-5V"),
    ("A", (312,), "rod, conducting", "0.2", "4.7", "general", ""),
    ("B", (311,), "ultrasonic", "0.2", "4.7", "general", ""),
    ("B", (312,), "ultrasonic", "0.2", "4.7", "general", "reverse"),
    ("D", (311, 312), "rod, conducting", "4", "4.9", "safety", ""),
    ("A", (321,), "rod, conducting", "0.2", "4.2", "general", ""),
    ("B", (321,), "ultrasonic", "0.2", "4.2", "general", ""),
    ("A", (322,), "rod, conducting", "0.2", "3.7", "general", "1-5V"),
    ("B", (322,), "rod, conducting", "0.2", "3.7", "general", ""),
    ("C", (322,), "differential pressure", "0.2", "3.7", "general", ""),
    ("A", (331, 332), "rod, conducting", "0.6", "5.4", "general", ""),
    ("B", (331, 332), "differential pressure", "0.6", "5.4", "general", ""),
    ("A", (341,), "hydrostatic", "0.2", "3.7", "quality", ""),
    ("B", (341,), "guided wave", "0.2", "3.7", "general", "0-10V"),
    ("C", (341,), "guided wave", "0.2", "3.7", "general", ""),
    ("A", (342,), "hydrostatic", "0.2", "4.7", "general", ""),
    ("B", (342,), "displacer", "1", "4", "general", ""),
    ("C", (342,), "rod, insulating", "0.2", "4.7", "general", ""),
    ("A", (351,), "rod, conducting", "0.2", "3.7", "general", ""),
    ("B", (351,), "ultrasonic", "0.2", "3.7", "general", "reverse"),
    ("C", (351,), "differential pressure", "0.2", "3.7", "general", ""),
)

MAKERS = {
    "capacitance rod": ("Tarn & Weir", "C2"), "capacitance rope": ("Tarn & Weir", "C4"),
    "hydrostatic": ("Sallowfield", "Head 6"), "differential pressure": ("Sallowfield", "Pair 3"),
    "radar": ("Oakhollow", "Echo 80"), "guided wave": ("Oakhollow", "Line 12"),
    "ultrasonic": ("Brackmere", "US 5"), "displacer": ("Brackmere", "D-Torque"),
    "magnetostrictive": ("Hexley", "Strand 2"), "float": ("Hexley", "Float 9"),
}  # fmt: skip
WIRINGS = ("2-wire", "3-wire", "4-wire")
GRACE = {3: 14, 12: 45, 24: 45}

# Days from AS_OF to the next due date, where a story asks for it. The rest is spread by chance.
DUE_IN = {
    "LT-302D": -12, "LT-142A": -5, "LT-212C": -3, "LT-232B": -9,
    "LT-102D": 4, "LT-203C": 6, "LT-311A": 5, "LT-105D": 9, "LT-114B": 12, "LT-206B": 13, "LT-322B": 12,
    "LT-222B": 16, "LT-211A": 203, "LT-121C": 20, "LT-122C": 41, "LT-131A": 720, "LT-321A": 351, "LT-331A": 215,
    "LT-205C": 250, "LT-203B": 303, "LT-202C": 140, "LT-342B": 300, "LT-351A": 312, "LT-301C": 150, "LT-311B": 90,
    "LT-103A": 71, "LT-104B": 240,
}  # fmt: skip
QUIET = "LT-103A"
"""Steady until the nozzle work, so that its step stands out."""
SHORT = ("LT-342B", "LT-351A")
MOLASSES_SHORTENED = dt.date(2025, 8, 15)
"""Since then LT-121C and LT-122C are calibrated every 3 months, not every 12."""


@dataclass(frozen=True)
class Point:
    """One measuring point with the transmitter that hung there first."""

    site: str
    tank: str
    letter: str
    family: str
    lower: float
    upper: float
    unit: str
    signal: str
    duty: str
    months: int
    wiring: str
    serial: str
    next_due: dt.date
    law: Law

    @property
    def tag(self) -> str:
        return f"LT-{self.tank[2:]}{self.letter}"

    @property
    def of(self) -> Family:
        return FAMILIES[self.family]

    @property
    def maker(self) -> tuple[str, str]:
        return MAKERS[self.of.principle]

    @property
    def is_custody(self) -> bool:
        return self.family == CUSTODY

    @property
    def adjust_limit(self) -> float:
        """In the unit of the tolerance: half of it; for custody three quarters, not to chase the dip's scatter."""
        return self.of.tolerance * (0.75 if self.is_custody else 0.5)


def chance_of(name: str, seed: int) -> Chance:
    """Numbers of its own for every transmitter: a change of one leaves all others as they are."""
    return np.random.RandomState([seed, zlib.crc32(name.encode())])


def celsius_of(tank: str) -> float:
    """Temperature at which the tank's product is kept."""
    return next(float(kind.celsius) for kind in TANKS if int(tank[2:]) in kind.numbers)


def site_of(tank: int) -> str:
    return {1: "M", 2: "O", 3: "N"}[tank // 100]


def points(seed: int = SEED) -> list[Point]:
    made = [
        _point(letter, tank, *more, seed=seed) for letter, tanks, *more in POINTS for tank in tanks
    ]
    return sorted(made, key=lambda point: point.tag)


def _point(
    letter: str, tank: int, family: str, lower: str, upper: str, duty: str, special: str, *, seed: int
) -> Point:  # fmt: skip
    tag = f"LT-{tank}{letter}"
    chance = chance_of(tag, seed)
    of = FAMILIES[family]
    low, high = float(lower), float(upper)
    law = draw_law(family, chance, span_mm=1000 * (high - low))
    if tag == QUIET:
        law = replace(law, walk=law.walk / 4, scatter=law.scatter / 2)
    serial = f"{of.principle[0].upper()}{chance.randint(10, 99)}-{chance.randint(1000, 9999)}"
    wiring = WIRINGS[chance.randint(3)] if of.principle.startswith("capacitance") else "2-wire"
    months = 3 if family == "rope, molasses" else of.months
    days = DUE_IN.get(tag, _spread(tag, tank, months, chance, seed))
    if special == "reverse":
        low, high = high, low
    return Point(
        site=site_of(tank),
        tank=f"T-{tank}",
        letter=letter,
        family=family,
        lower=low,
        upper=high,
        unit="m3" if special == "volume" else "m",
        signal=special if special.endswith("V") else "4-20mA",
        duty=duty,
        months=months,
        wiring=wiring,
        serial=serial,
        next_due=_early_in_month(AS_OF + dt.timedelta(days)),
        law=law,
    )


def _spread(tag: str, tank: int, months: int, chance: Chance, seed: int) -> int:
    """Points of one tank fall due within a fortnight of each other, tanks all over the interval."""
    longest = round(months * 30.4) - 8
    of_tank = chance_of(f"{tank} every {months}", seed).randint(0, longest)
    return int((of_tank + chance.randint(0, 15)) % longest) + 6


def _early_in_month(day: dt.date) -> dt.date:
    """A day every month has, so that the cycle of months comes out the same counted from either end."""
    return day.replace(day=min(day.day, 28))


def planned_days(point: Point) -> list[dt.date]:
    """The due dates behind the point, oldest first, counted back from the next one."""
    days: list[dt.date] = []
    months = 0
    while True:
        months += 12 if _still_yearly(point, months) else point.months
        day = add_months(point.next_due, -months)
        if day < START:
            return days[::-1]
        days.append(day)


def _still_yearly(point: Point, months: int) -> bool:
    before = add_months(point.next_due, -months - point.months)
    return point.family == "rope, molasses" and before < MOLASSES_SHORTENED
