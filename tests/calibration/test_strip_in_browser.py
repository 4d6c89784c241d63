"""The strip drawn while readings are typed is the one that the server draws of the same readings."""

import re

import pytest

from calibration.templatetags.pictures import span_strip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DRAW = """async ([url, cases]) => {
  const { draw } = await import(url);
  return cases.map(([found, left, tolerance]) => {
    const strip = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const marks = document.createElementNS("http://www.w3.org/2000/svg", "g");
    marks.setAttribute("data-marks", "");
    strip.append(marks);
    draw(strip, { found, left }, tolerance);
    const paths = [...strip.querySelectorAll("path")];
    return paths.map((path) => [path.getAttribute("class"), path.getAttribute("d")]);
  });
}"""
CASES = [
    ([0.1], [], 0.5),
    ([0.1, -0.6, 0.3], [], 0.5),
    ([0.1, -0.2, 0.3], [0.0, 0.51], 0.5),
    ([0.1, -0.2, 0.3, 0.25, -0.45], [], 0.5),
    ([0.1, -0.2, 0.3, 0.25, -0.45], [0.1, -0.2, 0.3, 0.25, -0.45], 0.5),
    ([0.45, -0.2, 0.3, -0.45], [], 0.5),
    ([0.1, -0.2, 0.3, 0.25, 0.61], [0.01, -0.02, 0.03, 0.05], 0.5),
]


def by_class(paths):
    """All marks of one class as one path."""
    drawn: dict[str, str] = {}
    for name, d in paths:
        drawn[name] = drawn.get(name, "") + d
    return drawn


def test_both_draw_the_same_marks_in_the_same_places(page, live_server):
    page.goto(f"{live_server.url}/sign-in/")
    answers = page.evaluate(DRAW, [f"{live_server.url}/static/livestrip.js", CASES])
    for case, paths in zip(CASES, answers, strict=True):
        served = re.findall(
            r'<path class="((?:reach |found|left)[^"]*)" d="([^"]*)"', span_strip(*case)
        )
        assert by_class(paths) == by_class(served), case
