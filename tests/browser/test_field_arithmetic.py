"""What the tablet computes by itself is what Python computes: hints word by word, two levels digit
by digit.
"""

from __future__ import annotations

import random
from dataclasses import asdict
from decimal import Decimal

import numpy as np
import pytest

from calibration.metrology.two_levels import two_levels
from calibration.records.failures import output_text
from plant.level.hints import noise_hints, reading_hints
from plant.level.signals import SIGNALS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PRINCIPLES = [None, "capacitance rod", "hydrostatic", "radar", "ultrasonic", "displacer", "float"]
RUN = """async ([url, name, cases]) => {
  const module = await import(url);
  return cases.map((given) => module[name](...given));
}"""


@pytest.fixture
def compute(page, live_server):
    """Calls a function of a module on the device with each of the cases."""
    page.goto(f"{live_server.url}/sign-in/")

    def run(module: str, name: str, cases: list[list]) -> list:
        return page.evaluate(RUN, [f"{live_server.url}/static/field/{module}.js", name, cases])

    return run


def as_told(hints) -> list[dict]:
    return [asdict(hint) | {"checks": list(hint.checks)} for hint in hints]


def a_pattern(rng: random.Random) -> dict:
    """Readings of a made-up fault: offset, wrong scale, lost reference, flat top, lag, reversal,
    alarm, none.
    """
    points = rng.choice([[0, 25, 50, 75, 100], [20, 80], [50], [0, 50, 100]])
    up_and_down = rng.random() < 0.5
    percents = points + points[-2::-1] if up_and_down else points
    rising = [n < len(points) for n in range(len(percents))]
    offset = rng.choice([0, rng.gauss(0, 1.5)])
    scale = rng.choice([1, 1 + rng.gauss(0, 0.03), rng.uniform(0.3, 1.0), -1, 0.01])
    offset += 100 if scale == -1 else 0  # reverse action was set
    lag = rng.choice([0, rng.gauss(0, 1)])
    ceiling = rng.choice([200, rng.uniform(60, 95)])
    shown = [
        min(offset + scale * p + (0 if up else lag), ceiling) + rng.gauss(0, 0.03)
        for p, up in zip(percents, rising, strict=True)
    ]
    currents = [max(0.0, round(4 + 0.16 * p, 3)) for p in shown]  # a loop carries none below zero
    if rng.random() < 0.15:
        currents[rng.randrange(len(currents))] = rng.choice([0.0, 3.55, 3.6, 21.0, 22.4])
    return {
        "expected": [4 + 0.16 * p for p in percents],
        "observed": currents,
        "rising": rising,
        "tolerance": rng.choice([0.25, 0.5, 1.0, 2.0]),
        "principle": rng.choice(PRINCIPLES),
    }


def test_hints_are_the_same_in_every_word_and_digit(compute):
    rng = random.Random(20261102)  # noqa: S311 - any numbers will do
    cases = [a_pattern(rng) for _ in range(1500)]
    computed = compute("hints", "hintsOf", [[case] for case in cases])
    keys = set()
    for case, got in zip(cases, computed, strict=True):
        facts = dict(case)
        known = as_told(reading_hints(facts.pop("expected"), facts.pop("observed"), **facts))
        assert got == known, case
        keys |= {hint["key"] for hint in known}
    assert keys == {"P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8"}


def test_looks_at_a_steady_level_are_told_alike(compute):
    rng = random.Random(7)  # noqa: S311

    def a_look(n: int) -> float:
        return round(
            12 + rng.gauss(0, rng.choice([0.001, 0.01])) + rng.choice([0, 0.2 * (n % 2)]), 3
        )

    looks = [[a_look(n) for n in range(rng.randint(3, 6))] for _ in range(300)]
    got = compute("hints", "lookHints", [[some] for some in looks])
    assert got == [as_told(noise_hints(some)) for some in looks]
    assert {hint["pattern"].split(",")[0] for some in got for hint in some} == {
        "noise",
        "jumps between two values",
    }


def test_a_typed_value_is_shown_as_the_value_that_it_is(compute):
    """With too few digits or too many, in every unit: what stands on the screen is the number that
    was typed.
    """
    rng = random.Random(5)  # noqa: S311
    units = {"m": 3, "mm": 0, "cm": 1, "in": 2, "ft": 3, "m3": 2, "L": 0, "mA": 3, "V": 3}
    texts = ["2.0", "6.5", "0.3", "10.2", "12", "0", "-0.1", "0.05", "1200", "16.4500", "-3.0"]
    texts += [f"{rng.uniform(-30, 3000):.{rng.randint(0, 5)}f}" for _ in range(500)]
    cases = [[text, unit] for text in texts for unit in units]
    for (text, unit), shown in zip(cases, compute("decimal", "quantity", cases), strict=True):
        computed, digits = Decimal(shown.replace("\u2212", "-")), units[unit]
        least = Decimal(1).scaleb(min(computed.as_tuple().exponent, 0))
        assert abs(computed - Decimal(text)) <= least / 2, (text, unit, shown)
        assert digits <= -computed.as_tuple().exponent <= digits + 1, (text, unit, shown)


LINE = """async ([url, cases]) => {
  const { twoLevels } = await import(url);
  return cases.map(([levels, outputs, range]) => {
    const line = twoLevels(levels, outputs, range);
    return [line.slope, line.zero, line.spanEnd, line.zeroError, line.spanEndError, line.liftAtZero,
      line.liftAtSpanEnd, line.apart, line.afterAdjusting(outputs[1]), line.outputAt(levels[0]),
      line.offAt(range.lower, outputs[0]), Number(line.isThird(range.upper)),
      Number(line.mayJudge), Number(line.mayAdjustSlope)];
  });
}"""


def test_two_levels_give_the_same_line(page, live_server):
    """The worked example of the published checks, and a thousand pairs of levels at random, reverse
    action too.
    """
    rng = random.Random(11)  # noqa: S311
    cases = [([2.150, 6.480], [7.742, 16.480], (0.300, 8.300), "4-20mA")]
    for _ in range(1000):
        lower, upper = rng.sample([0.0, 0.3, 1.2, 4.0, 8.3, 12.0], 2)
        key = rng.choice(list(SIGNALS))
        signal = SIGNALS[key]
        levels = [round(lower + (upper - lower) * rng.uniform(0, 1), 3) for _ in range(2)]
        if levels[0] == levels[1]:
            continue
        outputs = [
            round(
                signal.low + signal.span * (level - lower) / (upper - lower) + rng.gauss(0, 0.02), 3
            )
            for level in levels
        ]
        cases.append((levels, outputs, (lower, upper), key))
    page.goto(f"{live_server.url}/sign-in/")
    ends_of = {key: {"low": signal.low, "high": signal.high} for key, signal in SIGNALS.items()}
    sent = [
        [levels, outputs, {"lower": ends[0], "upper": ends[1], "signal": ends_of[key]}]
        for levels, outputs, ends, key in cases
    ]
    computed = page.evaluate(LINE, [f"{live_server.url}/static/field/twolevels.js", sent])
    for (levels, outputs, (lower, upper), key), got in zip(cases, computed, strict=True):
        line = two_levels(levels, outputs, lower=lower, upper=upper, signal=SIGNALS[key])
        known = [
            line.slope, line.zero, line.span_end, line.zero_error, line.span_end_error, line.gain_at_zero,
            line.gain_at_span_end, line.apart, line.after_adjusting(outputs[1]), line.output_at(levels[0]),
            line.deviation_at(lower, outputs[0]), line.is_check_level(upper), line.may_judge, line.may_adjust_slope,
        ]  # fmt: skip
        np.testing.assert_allclose(got, np.array(known, dtype=float), rtol=1e-9, atol=1e-9)
    assert computed[0][1] == pytest.approx(4.008674, abs=5e-7)
    assert computed[0][4] == pytest.approx(0.9549, abs=5e-5)


def test_a_failure_as_it_stood_is_said_in_the_same_words(compute):
    cases = [
        ("3.40", "failure low", "4-20mA"),
        ("3.6", "failure low", "4-20mA"),
        ("0", "failure low", "4-20mA"),
        ("0.00", "failure low", "4-20mA"),
        ("22.4000", "failure high", "4-20mA"),
        ("21.0", "failure high", "4-20mA"),
        ("0.9", "failure low", "1-5V"),
        ("5.3", "failure high", "1-5V"),
    ]
    computed = compute("failure", "outputText", [list(case) for case in cases])
    assert computed == [output_text(Decimal(observed), *rest) for observed, *rest in cases]
