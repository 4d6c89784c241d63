"""The strip drawn while readings are typed is the one that the server draws of the same readings."""

import re

import pytest

from calibration.templatetags.pictures import span_strip
from plant.level.tolerance import AT_LEAST, AT_MOST, Limits

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DRAW = """async ([url, cases]) => {
  const { draw } = await import(url);
  const made = (kind, attribute, value) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", kind);
    if (attribute) node.setAttribute(attribute, value);
    return node;
  };
  return cases.map(([found, left, limits]) => {
    const strip = made("svg");
    for (const name of ["tol", "edges", "zero"]) strip.append(made("path", "class", name));
    strip.append(made("g", "data-marks", ""));
    draw(strip, { found, left }, limits);
    const paths = [...strip.querySelectorAll("path")];
    return paths.map((path) => [path.getAttribute("class"), path.getAttribute("d")]);
  });
}"""
EQUAL = Limits.of(0.5)
UNEQUAL, UP, DOWN = Limits.of(0.5, 1.0), Limits.of(0.5, sides=AT_MOST), Limits.of(1, sides=AT_LEAST)
CASES = [
    ([0.1], [], EQUAL),
    ([0.1, -0.6, 0.3], [], EQUAL),
    ([0.1, -0.2, 0.3], [0.0, 0.51], EQUAL),
    ([0.1, -0.2, 0.3, 0.25, -0.45], [], EQUAL),
    ([0.1, -0.2, 0.3, 0.25, -0.45], [0.1, -0.2, 0.3, 0.25, -0.45], EQUAL),
    ([0.45, -0.2, 0.3, -0.45], [], EQUAL),
    ([0.1, -0.2, 0.3, 0.25, 0.61], [0.01, -0.02, 0.03, 0.05], EQUAL),
    ([0.1, -0.9, 0.6], [], UNEQUAL),
    ([0.1, -0.9, 0.3, 0.45], [0.1, -1.02], UNEQUAL),
    ([0.1, -0.7, 0.51], [], UP),
    ([0.1, -0.7, 0.3, 0.2], [], UP),
    ([1.4, -0.7, -1.01], [], DOWN),
]


def by_class(paths):
    """All marks of one class as one path."""
    drawn: dict[str, str] = {}
    for name, d in paths:
        drawn[name] = drawn.get(name, "") + d
    return drawn


def test_both_draw_the_same_marks_in_the_same_places(page, live_server):
    page.goto(f"{live_server.url}/sign-in/")
    sent = [(found, left, limits.json()) for found, left, limits in CASES]
    answers = page.evaluate(DRAW, [f"{live_server.url}/static/livestrip.js", sent])
    for case, paths in zip(CASES, answers, strict=True):
        served = re.findall(
            r'<path class="((?:reach |found|left|tol|edges|zero)[^"]*)" d="([^"]*)"',
            span_strip(*case),
        )
        assert by_class(paths) == by_class(served), case
