"""The demo's generator: the files that are kept are what it writes, and the drift in them is the
drift put in.
"""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest
from scipy.special import stdtrit
from scipy.stats import linregress

from calibration.demo.files import FOLDER, shifted
from fixtures.demo.generator.laws import FAMILIES, Device, draw_law
from fixtures.demo.generator.scenario import AS_OF, SEED, chance_of, points
from fixtures.demo.generator.write import build


@pytest.fixture(scope="module")
def files() -> dict[str, str]:
    return build(SEED)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_files_that_are_kept_are_what_the_generator_writes(files):
    kept = {
        path.name: path.read_text(encoding="utf-8") for path in FOLDER.iterdir() if path.is_file()
    }
    assert sorted(kept) == sorted(files)
    assert [name for name in files if kept[name] != files[name]] == [], (
        "run python -m fixtures.demo.generator"
    )


def test_another_seed_gives_other_histories(files):
    assert build(SEED + 1)["M_calibrations.csv"] != files["M_calibrations.csv"]


def test_it_has_the_plant_it_promises(files):
    assert len(rows(files["sites.csv"])) == 3
    tanks = [row["tank"] for code in "MON" for row in rows(files[f"{code}_tanks.csv"])]
    tags = [row["tag"] for code in "MON" for row in rows(files[f"{code}_register.csv"])]
    assert (len(set(tanks)), len(set(tags))) == (42, 120)
    count = {}
    for point in points():
        count[point.of.principle] = count.get(point.of.principle, 0) + 1
    assert count == {
        "capacitance rod": 22, "capacitance rope": 14, "hydrostatic": 16, "differential pressure": 10, "radar": 22,
        "guided wave": 12, "ultrasonic": 8, "displacer": 4, "magnetostrictive": 6, "float": 6,
    }  # fmt: skip
    by_signal = [row for code in "MON" for row in rows(files[f"{code}_register.csv"])]
    assert sum(row["signal"] == "1-5V" for row in by_signal) == 2
    assert sum(row["signal"] == "0-10V" for row in by_signal) == 1
    assert sum(row["indicates"] == "volume" for row in by_signal) == 4
    assert sum(float(row["LRV (m)"] or 0) > float(row["URV (m)"] or 1e9) for row in by_signal) == 3


def test_nothing_lies_in_the_future(files):
    stories = json.loads(files["stories.json"])
    assert all(act["day"] <= AS_OF.isoformat() for act in stories["swaps"] + stories["acts"])
    for code in "MON":
        assert all(
            row["day"] <= AS_OF.isoformat() for row in rows(files[f"{code}_calibrations.csv"])
        )


def test_days_move_by_whole_weeks_and_nothing_else_does():
    text = "LT-101A 2026-10-05,H-26-MM01,2026-10-05,12.345\n"
    assert shifted(text, weeks=-52) == "LT-101A 2025-10-06,H-26-MM01,2025-10-06,12.345\n"


# ---- is the drift that was put in found again? ----
def a_plain_history(family: str, number: int) -> tuple[float, float, float]:
    """(rate put in, half-width of its 95 % interval, rate found), for zero, of a unit that only
    drifts and scatters.

    Seven yearly visits without walk and without adjustment: what ordinary least squares claims to
    be right for.
    """
    chance = chance_of(f"{family} {number}", SEED)
    law = draw_law(family, chance, span_mm=8000).without_walk()
    device = Device(law)
    years = np.arange(7) + np.clip(chance.normal(0, 0.05, 7), -0.2, 0.2)
    found = []
    for year, before in zip(years, [years[0], *years], strict=False):
        device.age(float(year - before), chance)
        found.append(device.errors(np.array([0.0]), np.array([True]), chance)[0])
    line = linregress(years, found)
    half = stdtrit(len(years) - 2, 0.975) * line.stderr
    return law.zero_rate, half, line.slope


def test_the_interval_of_the_rate_holds_the_true_rate_19_times_in_20():
    """1,300 units of all families: the share may stray from 95 % by three standard deviations, 1.8
    points.
    """
    histories = [a_plain_history(family, n) for family in FAMILIES for n in range(100)]
    held = np.mean([abs(found - true) <= half for true, half, found in histories])
    assert held == pytest.approx(0.95, abs=3 * (0.95 * 0.05 / len(histories)) ** 0.5)
