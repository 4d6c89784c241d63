"""The tank drawing: to scale, cut level, labels apart."""

import math
import re
from itertools import pairwise

import pytest
from django.template.loader import render_to_string

from plant.tanks.drawing import DrawnPoint, HeightRow, across, below, draw_tank, nudge, tick_step

BOX = [(0.0, 0.0), (6.0, 0.0), (6.0, 9.0), (0.0, 9.0)]
CONE = [(0.0, 1.5), (1.2, 0.0), (2.4, 1.5), (2.4, 6.0), (0.0, 6.0)]
ROUND = [
    (2 + 2 * math.cos(a * math.pi / 40), 2 + 2 * math.sin(a * math.pi / 40)) for a in range(80)
]
DRUM = [(0.0, 0.0), (9.0, 0.0), (9.0, 2.5), (0.0, 2.5)]
ONE = [DrawnPoint("LT-204", 0.2, 8.4, reach=0.15)]


def corners(path):
    return [
        tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.strip("MZ"))
    ]


def area(shape):
    pairs = zip(shape, [*shape[1:], shape[0]], strict=True)
    return abs(sum(x0 * z1 - x1 * z0 for (x0, z0), (x1, z1) in pairs)) / 2


@pytest.mark.parametrize(
    ("outline", "height"), [(BOX, 9.0), (CONE, 6.0), (ROUND, 4.0), (DRUM, 2.5)]
)
def test_tank_is_drawn_to_scale_and_inside_the_picture(outline, height):
    drawing = draw_tank(outline, [], inside_height=height)
    drawn = corners(drawing.outline)
    (x0, z0), (x1, z1) = outline[0], outline[2]
    across_drawn, up_drawn = drawn[2][0] - drawn[0][0], drawn[0][1] - drawn[2][1]
    assert across_drawn * (z1 - z0) == pytest.approx(up_drawn * (x1 - x0), abs=0.5)
    assert all(0 < x < 460 and 0 < y < drawing.height for x, y in drawn)


def test_product_is_the_outline_cut_at_its_level():
    assert area(below(BOX, 3.0)) == pytest.approx(18.0)
    assert area(below(CONE, 0.75)) == pytest.approx(0.45)  # a quarter of the cone's 1.8
    assert area(below(ROUND, 2.0)) == pytest.approx(area(ROUND) / 2)
    assert below(BOX, -1.0) == []
    assert area(below(BOX, 20.0)) == pytest.approx(54.0)


def test_lines_stand_at_their_heights():
    drawing = draw_tank(BOX, ONE, inside_height=9.0, surface=4.5)
    y = {mark.kind: mark.y for mark in drawing.marks}
    per_metre = (y["lower"] - y["upper"]) / 8.2
    assert (y["lower"] - y["now"]) / per_metre == pytest.approx(4.3, abs=0.01)
    assert drawing.probes[0].foot == pytest.approx(y["lower"] + 0.05 * per_metre, abs=0.11)


def test_levels_count_from_the_datum():
    raised = draw_tank(BOX, ONE, inside_height=9.0, datum=0.5)
    plain = draw_tank(BOX, ONE, inside_height=9.0)
    per_metre = (plain.scale_foot - plain.scale_top) / 9.0
    assert raised.marks[0].y == pytest.approx(plain.marks[0].y - 0.5 * per_metre, abs=0.11)
    assert raised.scale_foot == pytest.approx(plain.scale_foot - 0.5 * per_metre, abs=0.11)


def test_labels_never_overlap_nor_leave_the_picture():
    crowd = [DrawnPoint(f"LT-{i}", 0.1 + i * 0.01, 8.9 - i * 0.01) for i in range(4)]
    drawing = draw_tank(BOX, crowd, inside_height=9.0, surface=8.88)
    places = sorted(mark.label_y for mark in drawing.marks)
    assert len(places) == 9
    assert min(b - a for a, b in pairwise(places)) >= 17.9
    assert places[0] > 0
    assert places[-1] < drawing.height


def test_nudging_leaves_labels_with_room_alone():
    assert nudge([20, 60, 100], 18, lowest=0, highest=200) == [20, 60, 100]


def test_only_the_point_the_page_is_about_gets_lines():
    both = [DrawnPoint("LT-204", 0.2, 8.4), DrawnPoint("LT-204B", 0.0, 8.6, bottom=True)]
    drawing = draw_tank(BOX, both, inside_height=9.0, about="LT-204")
    assert [mark.label for mark in drawing.marks] == ["8.400 m", "0.200 m"]
    assert [(p.tag, p.other, bool(p.bracket)) for p in drawing.probes] == [
        ("LT-204", False, False),
        ("LT-204B", True, True),
    ]


def test_probe_stops_at_a_sloping_floor():
    assert across(CONE, 0.6) == (pytest.approx(0.75), 6.0)
    drawing = draw_tank(CONE, [DrawnPoint("LT-1", 0.2, 5.5, reach=-1.0)], inside_height=6.0)
    floor = drawing.scale_foot - across(CONE, 0.7 * 2.4)[0] * 50  # 300 high for 6 m
    assert drawing.probes[0].foot == pytest.approx(floor, abs=0.11)


@pytest.mark.parametrize("length", [0.03, 0.4, 2.5, 8.4, 12.0, 47.0])
def test_scale_has_few_round_steps(length):
    step = tick_step(length, 12)
    assert length / step <= 10
    assert step / 10 ** math.floor(math.log10(step)) in (
        pytest.approx(1), pytest.approx(2), pytest.approx(5)
    )  # fmt: skip


def test_picture_says_in_words_what_it_shows():
    drawing = draw_tank(BOX, ONE, inside_height=9.0, surface=4.5, conducting=False)
    assert drawing.sentence == (
        "Tank drawn to scale, 9.000 m high inside, non-conducting wall; LT-204 from the roof: "
        "lower range value 0.200 m, upper range value 8.400 m; product at 4.500 m"
    )


def test_template_prints_drawing_and_table_without_style():
    rows = [HeightRow(0.2, 6.8, 4.0), HeightRow(8.4, None, 20.0)]
    page = render_to_string(
        "plant/tanks/_tank_drawing.html",
        {"drawing": draw_tank(BOX, ONE, inside_height=9.0, conducting=False, rows=rows)},
    )
    assert "style=" not in page
    assert 'class="wall insulating"' in page
    assert "6.80" in page
    assert "no value" in page
