"""Span strip, limit day, tube and states."""

import re
import time
from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from django.template import Context, Template

from calibration.templatetags.pictures import (
    flagged,
    hatch,
    limit_day,
    span_strip,
    tube,
    verdict,
)
from plant.points.status import Status
from plant.templatetags.marks import STATES, plate, state, status


def paths(svg):
    """class -> path data of a picture; parsing it also shows that it is well formed."""
    return {p.get("class"): p.get("d") for p in ElementTree.fromstring(svg).iter("path")}  # noqa: S314


def test_marks_stand_where_their_errors_are():
    drawn = paths(span_strip([0.25], [-0.5], Decimal("0.5")))
    # The band runs from 60 to 148 whatever the tolerance; a circle starts at its left edge.
    assert drawn["found"].startswith("M121.8 8.0")  # 104 + 22 - 4.2
    assert drawn["left"].startswith("M57.3 17.0")  # 60 - 2.7: on the limit is inside


def test_band_has_the_same_width_for_every_tolerance():
    assert paths(span_strip([0.1], [], 0.2))["found"] == paths(span_strip([1.0], [], 2.0))["found"]


def test_mark_outside_the_band_changes_shape():
    drawn = paths(span_strip([-0.62, 0.1], [0.51], 0.5))
    assert set(drawn) >= {"found", "found out", "left out"}
    assert "a4.2" not in drawn["found out"]


def test_mark_beyond_the_strip_becomes_an_arrow_with_its_value():
    strip = span_strip([-12.4, 1.92], [0.0], 0.5)
    assert "found" not in paths(strip)
    assert re.findall(r"<text[^>]*>([^<]*)", strip) == ["−12.4", "+1.92"]


MANY = [-0.1, 0.05, 0.2, 0.3, -0.35]


def test_of_many_readings_the_least_the_most_and_the_worst_are_drawn():
    drawn = paths(span_strip(MANY, [0.0, 0.05, 0.1, 0.15], 0.5))
    # From 104 - 0.7 * 44 to 104 + 0.6 * 44; one ring, at the worst.
    assert drawn["reach found"].startswith("M73.2 8.0H130.4")
    assert drawn["found"].startswith("M69.0 8.0")
    assert drawn["found"].count("M") == 1
    assert drawn["reach left"].startswith("M104.0 17.0H117.2")
    assert drawn["left"].startswith("M114.5 17.0")


def test_of_a_few_readings_each_is_drawn():
    drawn = paths(span_strip(MANY[:3], [], 0.5))
    assert drawn["found"].count("M") == 3
    assert "reach found" not in drawn


def test_the_worst_of_many_outside_the_band_is_a_diamond():
    drawn = paths(span_strip([*MANY, -0.6], [], 0.5))
    assert "found out" in drawn
    assert "found" not in drawn
    assert drawn["reach found"].startswith("M51.2 12.0")


def test_readings_not_adjusted_stand_in_one_place():
    drawn = paths(span_strip([0.1, 0.2], [0.1, 0.2], 0.5))
    rings, dots = (re.findall(r"M[\d.]+ ([\d.]+)", drawn[kind]) for kind in ("found", "left"))
    assert set(rings) == set(dots) == {"12.0"}
    assert "not adjusted; tolerance" in span_strip(MANY, MANY, 0.5)


def test_strip_says_in_words_what_it_shows():
    strip = span_strip([-0.62, None, -0.3], [-0.05, 0.04], 0.5)
    assert (
        'aria-label="as found −0.62 to −0.30, worst −0.62; as left −0.05 to +0.04, worst −0.05 '
        '% of span; tolerance ±0.50; 1 of 2 as found outside"'
    ) in strip


# ---- a day on which a limit is met ----
def test_a_limit_day_that_has_passed_differs_in_word_and_tone_from_one_that_comes():
    today = date(2026, 11, 30)
    passed, ahead = limit_day(date(2026, 4, 21), today), limit_day(date(2031, 2, 3), today)
    assert "limit passed 21 Apr 2026" in passed
    assert 'class="limit past"' in passed  # the flag is filled and in the bad colour
    assert "limit 3 Feb 2031" in ahead
    assert 'class="limit"' in ahead
    assert passed.count("<svg") == ahead.count("<svg") == 1


def test_a_band_that_met_the_tolerance_at_the_last_result_says_so():
    day = date(2026, 4, 21)
    assert "could be out already" in limit_day(day, date(2026, 11, 30), tested_on=day)


def test_a_limit_day_of_today_has_not_passed():
    shown = limit_day(date(2026, 11, 30), date(2026, 11, 30))
    assert 'class="limit"' in shown
    assert "limit 30 Nov 2026" in shown


def test_words_beside_a_flag_are_escaped():
    assert "<b>" not in flagged("<b>", True)


def test_no_limit_day_is_said():
    assert "no limit day within 10 years" in limit_day(None, date(2026, 11, 30))


@pytest.mark.parametrize(("found", "tolerance"), [([], 0.5), ([None], 0.5), ([0.1], None)])
def test_strip_without_an_error_says_that_it_failed(found, tolerance):
    assert span_strip(found, [], tolerance) == '<span class="soft">failed, no error known</span>'


@pytest.mark.parametrize(
    ("fraction", "run", "over"), [(0, None, False), (0.5, "M2 3H52.0V13H2z", False),
                                  (1.0, "M2 3H102.0V13H2z", False), (1.07, "M2 3H102.0V13H2z", True)]
)  # fmt: skip
def test_tube_fills_and_runs_over(fraction, run, over):
    drawn = paths(tube(fraction))
    assert drawn.get("run") == run
    assert ("hatch" in drawn) is over


def test_tube_never_outgrows_its_picture():
    assert "H120.0" in paths(tube(40))["spill"]
    assert "4000 % of the interval" in tube(40)
    assert "no interval" in tube(None)


def test_hatching_stays_inside_its_rectangle():
    numbers = [float(n) for n in re.findall(r"[\d.]+", hatch(10, 20, 15, 60, 5))]
    xs, ys = numbers[::2], numbers[1::2]
    assert (min(xs), max(xs)) == (10, 25)
    assert (min(ys), max(ys)) == (20, 80)


def test_every_state_has_word_shape_and_colour():
    for kind, (tone, shape) in STATES.items():
        shown = state(kind, "the word")
        assert f"state {tone}" in shown
        assert shape in shown
        assert "the word" in shown


def test_verdicts_differ_in_shape_and_not_by_colour_alone():
    shapes = {re.search(r"<svg.*</svg>", verdict(v))[0] for v in ("pass", "fail", "inconclusive")}
    assert len(shapes) == 3
    assert "no verdict" in verdict(None)


def test_a_status_shows_its_own_words_and_what_stands_beside_it():
    shown = status(Status("question", "in doubt", "overdue 12 d"))
    assert "in doubt" in shown
    assert "state bad" in shown
    assert "overdue 12 d" in shown


def test_text_in_marks_is_escaped():
    assert "<b>" not in plate("<b>LT</b>", '"><b>') + state("ok", "<b>")


def test_fifty_strips_cost_little():
    """About 2 ms where it was written; the bound is wide, since it guards against a change of
    kind.
    """
    page = Template("{% load pictures %}{% for r in rows %}{% span_strip r r 0.5 %}{% endfor %}")
    rows = [[-0.62, -0.44, -0.3, 0.1, 0.2]] * 50
    page.render(Context({"rows": rows}))
    started = time.process_time()
    for _ in range(10):
        page.render(Context({"rows": rows}))
    assert (time.process_time() - started) / 10 < 0.03
