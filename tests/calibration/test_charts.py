"""The charts: no colours of their own, UTC throughout, drawn by the library."""

import json
from pathlib import Path

import pytest
from django.conf import settings

from calibration.charts import ensure_script
from calibration.drift.charts import drift_chart
from calibration.records.charts import error_curve
from tests.calibration.drawing import drawn

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
    "levels": [("2023-02-03", "serial 40177 installed")],
}
CURVE = {
    "found_up": [(0, -0.3), (100, -0.62)],
    "left_down": [(100, 0.04), (0, 0.02)],
    "tolerance": 0.5,
}


def both():
    return [drift_chart(**DRIFT), error_curve(**CURVE)]


def walk(node):
    yield node
    for child in (
        node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    ):
        yield from walk(child)


def test_every_time_axis_is_utc():
    spec = drift_chart(**DRIFT)
    times = [n for n in walk(spec) if isinstance(n, dict) and n.get("type") == "temporal"]
    assert len(times) >= 6
    assert all(n["scale"]["type"] == "utc" for n in times)


@pytest.mark.parametrize("spec", both(), ids=["drift", "curve"])
def test_colours_are_tokens_of_the_look(spec):
    sheet = (Path(settings.BASE_DIR) / "deploy/static/look.css").read_text()
    named = {n[4:-1] for n in walk(spec) if isinstance(n, str) and n.startswith("var(")}
    assert named
    assert all(f"{name}:" in sheet for name in named)
    assert "#" not in json.dumps(spec)


def test_a_result_found_out_of_tolerance_is_marked_wherever_its_shifted_value_lies():
    spec = drift_chart(**DRIFT, was_out=[False, True, False])
    rows = [n for n in walk(spec) if isinstance(n, dict) and "outside" in n]
    assert [(row["value"], row["outside"]) for row in rows] == [
        (0.02, False),
        (-0.16, True),
        (-0.62, False),
    ]


def test_drift_chart_needs_only_results_and_tolerance():
    spec = drift_chart(found_on=["2023-01-10"], found=[0.1], tolerance=0.5)
    assert len(spec["layer"]) == 4  # band, its edges, zero, results


def test_lengths_that_do_not_agree_are_refused():
    with pytest.raises(ValueError, match="zip"):
        drift_chart(found_on=["2023-01-10"], found=[0.1, 0.2], tolerance=0.5)


@pytest.mark.parametrize("spec", both(), ids=["drift", "curve"])
def test_the_drawing_library_draws_a_chart(spec):
    assert drawn(spec).startswith("<svg")


def test_drawing_library_is_written_once_and_whole(tmp_path):
    path = ensure_script(tmp_path / "built")
    assert "window.vegaEmbed" in path.read_text()
    before = path.stat().st_mtime_ns
    assert ensure_script(tmp_path / "built").stat().st_mtime_ns == before
    path.write_text("// drawing library of an older version\n")
    assert "window.vegaEmbed" in ensure_script(tmp_path / "built").read_text()
    assert [p.name for p in path.parent.iterdir()] == ["vega.js"]
