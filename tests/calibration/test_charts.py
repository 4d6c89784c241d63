"""The charts: one definition, no colours of their own, UTC throughout."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

from calibration import charts

DRIFT = {
    "found_on": ["2023-01-10", "2024-01-10", "2025-01-10"],
    "found": [0.02, -0.16, -0.62],
    "line_on": ["2023-01-10", "2026-01-10"],
    "line": [0.0, -0.6],
    "band_low": [-0.1, -0.7],
    "band_high": [0.1, -0.5],
    "tolerance": 0.5,
    "crossing_on": "2025-06-01",
    "adjusted_on": ["2024-01-10"],
    "steps": [("2023-02-03", "serial 40177 installed")],
    "left_out_on": ["2024-03-03"],
    "left_out": [0.35],
}
CURVE = {
    "found_up": [(0, -0.3), (100, -0.62)],
    "left_down": [(100, 0.04), (0, 0.02)],
    "tolerance": 0.5,
}


def both():
    return [charts.drift_chart(**DRIFT), charts.error_curve(**CURVE)]


def walk(node):
    yield node
    for child in (
        node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    ):
        yield from walk(child)


def test_every_time_axis_is_utc():
    spec = charts.drift_chart(**DRIFT)
    times = [n for n in walk(spec) if isinstance(n, dict) and n.get("type") == "temporal"]
    assert len(times) >= 6
    assert all(n["scale"]["type"] == "utc" for n in times)


@pytest.mark.parametrize("spec", both(), ids=["drift", "curve"])
def test_colours_are_tokens_of_the_look(spec):
    sheet = (Path(settings.BASE_DIR) / "deploy/static/look.css").read_text()
    named = {n[4:-1] for n in walk(spec) if isinstance(n, str) and n.startswith("var(")}
    assert named
    assert all(f"{name}:" in sheet for name in named)
    assert {name.removeprefix("--") for name in named} <= set(charts.PAPER)
    assert "#" not in json.dumps(spec)


def test_a_result_found_out_of_tolerance_is_marked_wherever_its_shifted_value_lies():
    spec = charts.drift_chart(**DRIFT, was_out=[False, True, False])
    rows = [n for n in walk(spec) if isinstance(n, dict) and "outside" in n]
    assert [(row["value"], row["outside"]) for row in rows if row["text"] != "+0.35"] == [
        (0.02, False),
        (-0.16, True),
        (-0.62, False),
    ]


def test_drift_chart_needs_only_results_and_tolerance():
    spec = charts.drift_chart(found_on=["2023-01-10"], found=[0.1], tolerance=0.5)
    assert len(spec["layer"]) == 4  # band, its edges, zero, results


def test_lengths_that_do_not_agree_are_refused():
    with pytest.raises(ValueError, match="zip"):
        charts.drift_chart(found_on=["2023-01-10"], found=[0.1, 0.2], tolerance=0.5)


def test_printed_chart_is_the_same_twice_and_holds_no_token():
    for spec in both():
        first = charts.svg(spec)
        assert first == charts.svg(spec)
        assert "var(--" not in first
        assert first.startswith("<svg")


def test_printed_chart_is_the_same_in_every_time_zone():
    program = (
        "import json, sys; from calibration import charts;"
        "sys.stdout.write(charts.svg(json.loads(sys.stdin.read())))"
    )
    drawn = {
        subprocess.run(
            [sys.executable, "-c", program],
            input=json.dumps(charts.drift_chart(**DRIFT)),
            capture_output=True,
            text=True,
            check=True,
            cwd=settings.BASE_DIR,
            env=os.environ | {"TZ": zone},
        ).stdout
        for zone in ("UTC", "America/New_York", "Asia/Tokyo")
    }
    assert len(drawn) == 1


def test_drawing_library_is_written_once_and_whole(tmp_path):
    path = charts.ensure_script(tmp_path / "built")
    assert "window.vegaEmbed" in path.read_text()
    before = path.stat().st_mtime_ns
    assert charts.ensure_script(tmp_path / "built").stat().st_mtime_ns == before
    path.write_text("// drawing library of an older version\n")
    assert "window.vegaEmbed" in charts.ensure_script(tmp_path / "built").read_text()
    assert [p.name for p in path.parent.iterdir()] == ["vega.js"]
