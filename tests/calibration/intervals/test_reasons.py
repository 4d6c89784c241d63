"""The words of a proposal's reasons: numbers with their units, plain sentences, and never what is
not a number.
"""

from __future__ import annotations

import math

import pytest

from calibration.intervals.reasons import SENTENCES, worded
from calibration.metrology.histories import histories
from calibration.metrology.intervals import propose, reasons
from calibration.metrology.wander import default_prior, outlook
from plant.quantities import SPACE

YEARS = 14 / 12
IN = "the probability that the next as found is in tolerance is"
CASES = {
    f"At 14 months {IN} 95.2 %; target 95 %.":
        {"says": "target", "target": 0.95, "probability": 0.952, "years": YEARS},
    f"Even at 3 months, the shortest interval allowed, {IN} only 91.3 %; target 99.5 %.":
        {"says": "target not reached at lower bound", "target": 0.995, "probability": 0.913,
         "years": 0.25, "lower": 0.25},
    "The figures would allow 30.5 months; one change may lengthen the interval to 24 months at "
    f"most. There {IN} 98.1 %; target 95 %.":
        {"says": "lengthening limited", "target": 0.95, "probability": 0.981, "years": 2.0,
         "wanted": 30.5 / 12},
    f"Even at 60 months, the longest interval allowed, {IN} more than 99.9 %; target 95 %.":
        {"says": "upper bound", "target": 0.95, "probability": 0.99999, "years": 5.0, "upper": 5.0},
    "The interval is lengthened from 12 months to 14 months.":
        {"says": "longer", "current": 1.0, "years": YEARS},
    "The interval is shortened from 12 months to 1 month.":
        {"says": "shorter", "current": 1.0, "years": 1 / 12},
    "The interval stays at 12 months.": {"says": "unchanged", "current": 1.0, "years": 1.0},
    "It drifts by +0.21 % of span a year (95 %: +0.12 to +0.30).":
        {"says": "rate", "rate": 0.21, "lower": 0.12, "upper": 0.30},
    "It drifts by −0.02 % of span a year (95 %: −0.12 to +0.08); it may also not drift at all.":
        {"says": "rate", "rate": -0.02, "lower": -0.12, "upper": 0.08},
    "Beside the drift it wanders at random, by about 0.10 % of span within a year; the "
    "probability that it does not wander at all is 12.0 %.":
        {"says": "walk", "walk": 0.1, "steady": 0.12},
    "62 % of that rate comes from its own history, 38 % from 13 other members of its family.":
        {"says": "borrowed from family", "others": 13.0, "own": 0.62, "borrowed": 0.38},
    "Too few others of its family have a measurable drift: 81 % of that rate comes from its own "
    "history, the rest is a cautious assumption.":
        {"says": "judged alone", "others": 0.0, "own": 0.81, "borrowed": 0.19},
    "The probability that it will have been out of tolerance at some time by then is 5.6 %.":
        {"says": "ever out by then", "probability": 0.056},
    "The probability that its true error is in tolerance on that day is 96.4 %.":
        {"says": "true error in tolerance", "probability": 0.964},
    "All this holds if no jump comes, such as after a repair, a swap or a change of product, and the "
    "rate does not change.": {"says": "if no step comes"},
    "The lower end of the range (zero) decides: it meets the tolerance first.":
        {"says": "end", "end": "zero"},
    "The upper end of the range (span) decides: it meets the tolerance first.":
        {"says": "end", "end": "span"},
    "Bend, hysteresis and scatter of the readings make it shorter than that end alone would.":
        {"says": "every reading"},
    "The last as found was in tolerance: the staircase lengthens the interval by 10 %.":
        {"says": "staircase in", "percent": 10.0},
    "The last as found was out of tolerance: the staircase shortens the interval by 55 %.":
        {"says": "staircase out", "percent": 55},
    "Of 41 results of 12 transmitters of its family 1 was out of tolerance: by an exponential "
    "curve and its cautious limit (one-sided, 95 %), 95 % are still in tolerance at 14 months. "
    "Results of one transmitter are alike, so that 2.3 of them count as one.":
        {"says": "reliability", "results": 41, "out": 1, "instruments": 12, "target": 0.95,
         "months": 14, "curve": "exponential", "by": "limit", "design_effect": 2.3},
    "Of 300 results of 60 transmitters of its family 12 were out of tolerance: by a Weibull curve, "
    "95 % are still in tolerance at 20 months.":
        {"says": "reliability", "results": 300, "out": 12, "instruments": 60, "target": 0.95,
         "months": 20, "curve": "Weibull", "by": "estimate", "design_effect": 1.0},
}  # fmt: skip


@pytest.mark.parametrize(("sentence", "part"), CASES.items())
def test_each_part_is_a_plain_sentence_with_its_numbers(sentence, part):
    assert [one.replace(SPACE, " ") for one in worded([part])] == [sentence]


def test_every_sentence_is_tried_above():
    tried = {part["says"] for part in CASES.values()}
    assert tried == {says.partition(",")[0] for says in SENTENCES}


@pytest.mark.parametrize("part", CASES.values())
@pytest.mark.parametrize("nothing", [math.nan, math.inf, None, "nan", True])
def test_what_is_no_number_is_left_out(part, nothing):
    for name in set(part) - {"says", "end", "curve", "by"}:
        for sentence in worded([part | {name: nothing}]):
            assert not {"nan", "inf", "none", "true"} & set(sentence.lower().split())


def test_parts_keep_their_order_and_unknown_ones_are_passed_over():
    parts = [{"says": "moon"}, {"says": "end", "end": "span"}, {"says": "if no step comes"}]
    assert [sentence[:5] for sentence in worded(parts)] == ["The u", "All t"]


def test_whatever_the_core_gives_as_a_reason_is_worded():
    of = outlook(
        histories([0, 1, 2, 3], [0, 0.1, 0.2, 0.3], [0, 0.1, 0.2, 0.3], [False] * 4, 0.05),
        default_prior(1.0),
    )
    for current in (0.1, 1.0, 5.0):
        [given] = reasons(propose(of, 1.0, 0.05, current=current), of, 1.0, [0])
        assert len(worded([{"says": r.says, **r.numbers} for r in given])) == len(given)
