"""Limits of an error in the browser are those of plant.level.tolerance, in figures and as text."""

from __future__ import annotations

import random

import pytest

from plant.level.tolerance import AT_LEAST, AT_MOST, BOTH, Limits
from plant.points.tolerance_texts import limits_text

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ALL = """async ([limitsJs, decimalJs, cases]) => {
  const { centreOf, edgesOf, furthest, halfOf, holds, limitsOf, sizeOf } = await import(limitsJs);
  const { limitsText } = await import(decimalJs);
  return cases.map(({ register, errors }) => {
    const limits = limitsOf(register);
    return {
      given: limits,
      figures: [halfOf(limits), centreOf(limits), sizeOf(limits)],
      edges: edgesOf(limits),
      furthest: furthest(errors, limits),
      holds: errors.map((error) => holds(error, limits)),
      text: limitsText(limits),
    };
  });
}"""


def invented(rng: random.Random) -> dict:
    sides = rng.choice([BOTH, BOTH, AT_MOST, AT_LEAST])
    value, down = rng.choice([0.5, 1, 4, 12.5]), rng.choice([None, 0.25, 2, 10])
    return {
        # As the pack has them: nothing of sides where both are alike.
        "register": {
            "tolerance": f"{value:g}",
            "tolerance_percent": rng.choice([0.05, 0.2, 0.5, 1.0, 2.5]),
        }
        | ({"tolerance_down": f"{down:g}"} if down and sides == BOTH else {})
        | ({"tolerance_sides": sides} if sides != BOTH else {}),
        "errors": [round(rng.gauss(0, 1), rng.randint(1, 4)) for _ in range(rng.randint(1, 9))],
    }


def by_server(case: dict) -> dict:
    register = case["register"]
    down = register.get("tolerance_down")
    given = Limits.of(
        float(register["tolerance"]), down and float(down), register.get("tolerance_sides", BOTH)
    )
    limits = given.scaled_to(register["tolerance_percent"])
    return {
        "given": limits.json(),
        "figures": [limits.half, limits.centre, limits.size],
        "edges": list(limits.edges),
        "furthest": limits.furthest(case["errors"]),
        "holds": [limits.holds(error) for error in case["errors"]],
        "text": limits_text(limits),
    }


def test_the_browser_finds_the_same_limits_as_the_server(page, live_server):
    rng = random.Random(20261130)  # noqa: S311 - any numbers will do
    cases = [invented(rng) for _ in range(500)]
    page.goto(f"{live_server.url}/sign-in/")
    scripts = [f"{live_server.url}/static/{name}.js" for name in ("limits", "field/decimal")]
    answers = page.evaluate(ALL, [*scripts, cases])
    assert [answer["text"] for answer in answers] == [by_server(case)["text"] for case in cases]
    assert answers == [by_server(case) for case in cases]
