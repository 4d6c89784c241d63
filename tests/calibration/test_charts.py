"""The charts: no colours of their own, UTC throughout, drawn by the library, each with its key."""

import datetime as dt
import json
import re
from pathlib import Path

import pytest
from django.conf import settings

from calibration.chart_marks import EDGE
from calibration.charts import ensure_script, error_scale
from calibration.drift.chart_days import named_days
from calibration.drift.chart_parts import Ahead
from calibration.drift.charts import AS_IT_STOOD, TAKEN_OUT, drift_chart
from calibration.drift.visits import Visit
from calibration.records.charts import GUARD, error_curve
from plant.level.tolerance import Limits
from tests.calibration.drawing import drawn

HALF_PERCENT = Limits.of(0.5)
TODAY, DUE = dt.date(2025, 9, 1), dt.date(2026, 1, 10)


def visit(day, found, left=None, *, value=0.0, failed=False, fresh=False, tolerance=0.5):
    """As left equals as found where none is given: not adjusted."""
    return Visit(
        day=day, record=1, value=value, found=found, left=found if left is None else left,
        adjusted=left is not None, out=found is not None and abs(found) > tolerance,
        failed=failed, fresh=fresh,
    )  # fmt: skip


VISITS = [
    visit(dt.date(2023, 1, 10), 0.02, value=1.4, fresh=True),
    visit(dt.date(2024, 1, 10), -0.62, 0.1, value=0.76, failed=True),
    visit(dt.date(2025, 1, 10), -0.2, value=-0.2),
]
AHEAD = Ahead(["2025-01-10", "2026-06-10"], [-0.2, -0.6], [-0.3, -0.9], [-0.1, -0.3])
CURVE = {
    "found_up": [(0, -0.3), (100, -0.62)],
    "left_down": [(100, 0.04), (0, 0.02)],
    "tolerance": HALF_PERCENT,
    "guard": 0.1,
}


def drift(view=AS_IT_STOOD, *, visits=VISITS, limit_on=None):
    named = named_days(TODAY, DUE, limit_on, until=dt.date(2026, 6, 10))
    return drift_chart(visits, AHEAD, tolerance=HALF_PERCENT, view=view, named=named)


def every():
    return [drift(), drift(TAKEN_OUT, limit_on=dt.date(2025, 6, 1)), error_curve(**CURVE)]


IDS = ["as it stood", "taken out", "curve"]


def walk(node):
    yield node
    for child in (
        node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    ):
        yield from walk(child)


def key(spec):
    return [mark["name"] for mark in spec["usermeta"]["key"]]


def layers(spec, **look):
    """The layers whose mark has these properties."""
    return [part for part in spec["layer"] if look.items() <= part["mark"].items()]


def rows(spec, **look):
    return [row for layer in layers(spec, **look) for row in layer["data"]["values"]]


def texts(spec):
    return [row["text"] for row in rows(spec, type="text")]


# ---- what all share ----
@pytest.mark.parametrize("spec", every()[:2], ids=IDS[:2])
def test_every_time_axis_is_utc(spec):
    times = [n for n in walk(spec) if isinstance(n, dict) and n.get("type") == "temporal"]
    assert len(times) >= 6
    assert all(n["scale"]["type"] == "utc" for n in times)


@pytest.mark.parametrize("spec", every(), ids=IDS)
def test_colours_are_tokens_of_the_look(spec):
    sheet = (Path(settings.BASE_DIR) / "deploy/static/look.css").read_text()
    named = {n[4:-1] for n in walk(spec) if isinstance(n, str) and n.startswith("var(")}
    assert named
    assert all(f"{name}:" in sheet for name in named)
    assert "#" not in json.dumps(spec)


@pytest.mark.parametrize("spec", every(), ids=IDS)
def test_the_drawing_library_draws_a_chart(spec):
    assert drawn(spec).startswith("<svg")


@pytest.mark.parametrize("spec", every(), ids=IDS)
def test_every_mark_of_the_key_looks_as_in_the_chart(spec):
    """A colour that the key shows stands in a layer too; each entry has a name and a shape."""
    used = {n for part in spec["layer"] for n in walk(part["mark"]) if isinstance(n, str)}
    for mark in spec["usermeta"]["key"]:
        assert mark["name"]
        assert re.match(r"M[\d.]", mark["path"])
        assert {mark["fill"], mark["stroke"]} - {"none"} <= used, mark["name"]


@pytest.mark.parametrize("spec", every(), ids=IDS)
def test_the_edges_of_the_tolerance_bear_their_value(spec):
    assert {"tolerance +0.50\xa0%", "tolerance −0.50\xa0%"} <= set(texts(spec))


def test_both_edges_of_an_unequal_tolerance_bear_the_digits_of_its_width():
    spec = error_curve(found_up=[(0, 0.1), (100, 0.2)], tolerance=Limits.of(0.25, 0.5))
    assert {"tolerance +0.250\xa0%", "tolerance −0.500\xa0%"} <= set(texts(spec))


def test_words_of_the_tolerance_stand_outside_its_band():
    """Above the upper edge and below the lower one; pixels count downwards."""
    for layer in layers(drift(), type="text"):
        at = layer["data"]["values"][0].get("at")
        if at:
            place = (layer["mark"]["baseline"], layer["mark"]["dy"] > 0)
            assert place == (("bottom", False) if at > 0 else ("top", True))


def test_a_scale_leaves_room_for_words_outside_the_tolerance():
    scale = error_scale([0.1, -0.2], HALF_PERCENT, 270)
    assert scale.pixels(scale.high - 0.5) == pytest.approx(20)
    assert scale.pixels(-0.5 - scale.low) == pytest.approx(20)
    assert error_scale([1.7], HALF_PERCENT, 270).high > 1.7


# ---- as it stood ----
def test_errors_stand_as_they_were_found_and_left():
    spec = drift()
    assert sorted(row["value"] for row in rows(spec, shape="circle", stroke="var(--ink)")) == [
        -0.2,
        0.02,
    ]
    [out] = rows(spec, shape="diamond")
    assert (out["value"], out["day"]) == (-0.62, "10 Jan 2024")
    left = [row["value"] for row in rows(spec, fill="var(--ink)")]
    assert left == [0.02, 0.1, -0.2]


def test_an_adjustment_is_an_arrow_from_found_to_left():
    spec = drift()
    [stem] = rows(spec, type="rule", stroke="var(--accent)")
    assert (stem["found"], stem["left"]) == (-0.62, 0.1)
    [head] = layers(spec, shape="triangle-up")
    assert head["data"]["values"] == [stem]
    assert head["mark"]["yOffset"] > 0  # pixels count downwards: it ends below the dot
    down = [visit(dt.date(2024, 1, 10), 0.4, -0.4)]
    [head] = layers(drift(visits=down), shape="triangle-down")
    assert head["mark"]["yOffset"] < 0


def test_a_small_adjustment_has_no_head_that_would_hide_it():
    spec = drift(visits=[*VISITS[:1], visit(dt.date(2024, 1, 10), 0.05, 0.03)])
    assert rows(spec, type="rule", stroke="var(--accent)")
    assert not layers(spec, shape="triangle-down")


def test_between_two_visits_a_line_runs_from_left_to_found_but_not_over_a_new_level():
    legs = rows(drift(), type="rule", stroke="var(--edge)", strokeWidth=1)
    assert [(leg["start"], leg["end"]) for leg in legs] == [(0.02, -0.62), (0.1, -0.2)]
    fresh = [*VISITS[:2], visit(dt.date(2025, 1, 10), -0.2, fresh=True)]
    spec = drift(visits=fresh)
    assert [row for row in rows(spec, stroke="var(--edge)") if "end" in row] == legs[:1]
    assert "new level" in key(spec)


def test_a_failure_at_another_reading_is_marked_though_this_end_lies_inside():
    spec = drift(visits=[*VISITS, visit(dt.date(2025, 4, 1), 0.1, failed=True)])
    [failed] = rows(spec, shape="square")
    assert failed["value"] == 0.1
    assert "failed at another reading" in key(spec)


def test_a_result_without_as_found_shows_how_it_was_left():
    spec = drift(visits=[*VISITS, visit(dt.date(2025, 4, 1), None, 0.3)])
    assert [row["value"] for row in rows(spec, fill="var(--ink)")][-1] == 0.3
    assert len(rows(spec, type="rule", stroke="var(--accent)")) == 1


def test_a_result_that_the_trend_leaves_out_is_shown_faintly_and_never_summed():
    aside = visit(dt.date(2024, 6, 1), 0.45, value=None)
    visits = [*VISITS[:2], aside, VISITS[2]]
    spec = drift(visits=visits)
    faint = rows(spec, opacity=0.5)
    assert [row["value"] for row in faint] == [0.45, 0.45]  # as found, and as left
    assert "not in the trend" in key(spec)
    legs = rows(spec, type="rule", stroke="var(--edge)", strokeWidth=1)
    assert [(leg["start"], leg["end"]) for leg in legs] == [(0.02, -0.62), (0.1, -0.2)]
    other = drift(TAKEN_OUT, visits=visits)
    assert "not in the trend" not in key(other)
    assert "2024-06-01" not in json.dumps(other)


@pytest.mark.parametrize("view", [AS_IT_STOOD, TAKEN_OUT])
def test_a_failure_has_no_error_and_is_marked_on_its_day(view):
    spec = drift_chart(
        VISITS, AHEAD, tolerance=HALF_PERCENT, view=view, failed_on=[dt.date(2024, 3, 1)]
    )
    [failed] = rows(spec, shape="triangle-down", fill="var(--bad)")
    assert (failed["on"], failed["what"]) == ("2024-03-01", "found failed")
    assert key(spec)[-1] == "found failed"


def test_the_tolerance_runs_along_the_whole_plot():
    [band] = layers(drift(), type="rect")
    assert "x" not in band["encoding"]


def test_the_key_names_what_is_drawn_and_nothing_else():
    assert key(drift()) == [
        "as found",
        "found out of tolerance",
        "as left",
        "adjustment",
        "expected",
        "95 % band of the next as found",
        "tolerance",
    ]
    calm = [visit(dt.date(2024, 1, 10), 0.1)]
    assert key(drift_chart(calm, tolerance=HALF_PERCENT)) == ["as found", "as left", "tolerance"]


def test_a_very_wide_band_does_not_squeeze_the_results():
    wide = Ahead(AHEAD.on, AHEAD.expected, [-9, -12], [9, 12])
    spec = drift_chart(VISITS, wide, tolerance=HALF_PERCENT)
    band = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "area")
    low, high = band["encoding"]["y"]["scale"]["domain"]
    assert (low, high) == (pytest.approx(-1.76, abs=0.01), pytest.approx(1.76, abs=0.01))
    assert band["mark"]["clip"]


# ---- adjustments taken out ----
def test_a_sum_is_compared_with_the_tolerance_over_the_forecast_only():
    spec = drift(TAKEN_OUT)
    [band] = layers(spec, type="rect")
    [row] = band["data"]["values"]
    assert (row["from"], row["to"]) == ("2025-01-10", "2026-06-10")
    assert {"x", "x2"} <= set(band["encoding"])
    edges = rows(spec, stroke="var(--band-edge)")
    assert {edge["from"] for edge in edges} == {"2025-01-10"}


def test_a_result_found_out_of_tolerance_is_marked_wherever_its_sum_lies():
    spec = drift(TAKEN_OUT)
    assert [row["value"] for row in rows(spec, shape="diamond")] == [0.76]
    assert [row["value"] for row in rows(spec, shape="circle")] == [1.4, -0.2]


def test_the_days_of_adjustments_stand_on_the_foot_and_in_the_key():
    spec = drift(TAKEN_OUT)
    assert [row["on"] for row in rows(spec, shape="triangle-up")] == ["2024-01-10"]
    assert "adjusted that day" in key(spec)
    assert "as left" not in key(spec)


# ---- days named above the plot ----
def test_a_limit_day_that_has_passed_has_other_words_another_flag_and_another_colour():
    past, ahead = (drift(limit_on=on) for on in (dt.date(2025, 6, 1), dt.date(2026, 3, 1)))
    assert "95 % band\nmet the tolerance\non 1 Jun 2025" in texts(past)
    assert "95 % band\nreaches the tolerance\non 1 Mar 2026" in texts(ahead)
    flags = [
        next(layer["mark"] for layer in spec["layer"] if layer["mark"].get("size") == 200)
        for spec in (past, ahead)
    ]
    assert [flag["fill"] for flag in flags] == ["var(--bad)", "var(--sheet)"]
    assert flags[0]["stroke"] != flags[1]["stroke"]


def test_a_day_outside_the_plot_is_not_named():
    assert not any("tolerance\n" in text for text in texts(drift(limit_on=dt.date(2031, 1, 1))))


@pytest.mark.parametrize(
    "limit_on", [dt.date(2023, 2, 1), dt.date(2024, 7, 1), dt.date(2026, 6, 1)]
)
def test_no_word_above_the_plot_is_cut_on_a_phone(limit_on):
    """Drawn 260 pixels wide, each word ends inside the picture; none lies in the row of another."""
    spec = drift(limit_on=limit_on) | {"width": 260}
    svg = drawn(spec)
    width = float(re.search(r'<svg[^>]* width="([\d.]+)"', svg)[1])
    words = re.findall(
        r'<text[^>]* text-anchor="(\w+)" transform="translate\(([-\d.]+),([-\d.]+)\)"[^>]*>(.*?)</text>',
        svg,
    )
    named = [w for w in words if re.search(r"today|due|met the|reaches", w[3])]
    assert len(named) == 6  # each twice: what is behind it is cleared first
    shift = float(re.search(r'transform="translate\(([\d.]+),', svg)[1])
    for anchor, x, _, text in named:
        length = 6.6 * max(map(len, re.sub("<.*?>", "\n", text).split("\n")))
        left = shift + float(x) - (length if anchor == "end" else 0)
        assert left >= 0, text
        assert left + length <= width, text
    assert len({y for _, _, y, _ in named}) == 3


def test_a_year_that_would_be_cut_at_the_edge_is_left_out():
    times = [n for n in walk(drift()) if isinstance(n, dict) and n.get("type") == "temporal"]
    assert all(n["axis"]["labelBound"] for n in times)


# ---- the script of the pages ----
def test_drawing_library_is_written_once_and_whole(tmp_path):
    path = ensure_script(tmp_path / "built")
    assert "window.vegaEmbed" in path.read_text()
    before = path.stat().st_mtime_ns
    assert ensure_script(tmp_path / "built").stat().st_mtime_ns == before
    path.write_text("// drawing library of an older version\n")
    assert "window.vegaEmbed" in ensure_script(tmp_path / "built").read_text()
    assert [p.name for p in path.parent.iterdir()] == ["vega.js"]


# ---- the error curve ----
def test_a_curve_names_its_runs_and_the_limit_of_acceptance():
    assert key(error_curve(**CURVE)) == [
        "as found, rising",
        "as left, falling",
        "limit of acceptance",
        "tolerance",
    ]
    assert "limit of acceptance" not in key(error_curve(**CURVE | {"guard": 0}))


def lines_at(spec, mark):
    """Where horizontal lines of this mark stand."""
    layers = [layer for layer in spec["layer"] if layer["mark"] == mark.spec()]
    return [row["at"] for layer in layers for row in layer["data"]["values"]]


@pytest.mark.parametrize(
    ("limits", "edges", "accepted"),
    [
        (Limits.of(0.5), [-0.5, 0.5], [-0.4, 0.4]),
        (Limits.of(0.5, 1.0), [-1.0, 0.5], [-0.9, 0.4]),
        (Limits.of(0.5, sides="at most"), [0.5], [0.4]),
        (Limits.of(0.5, sides="at least"), [-0.5], [-0.4]),
    ],
)
def test_a_curve_has_an_edge_and_a_limit_of_acceptance_for_each_limit_set(limits, edges, accepted):
    spec = error_curve(**CURVE | {"tolerance": limits})
    assert lines_at(spec, EDGE) == edges
    assert lines_at(spec, GUARD) == pytest.approx(accepted)
    low, high = spec["layer"][0]["encoding"]["y"]["scale"]["domain"]
    assert -3 < low < high < 3
