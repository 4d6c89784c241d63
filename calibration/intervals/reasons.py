"""Why an interval is proposed, in plain sentences: the parts of
calibration.metrology.intervals.reasons, worded.

Each part is {"says": key, …numbers}. Years are told in months, shares of one in per cent. A part
whose numbers are missing or no numbers is left unsaid rather than told wrongly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from plant.quantities import SPACE, number, percent

Part = Mapping[str, Any]
BARELY = 0.0005  # shares nearer to 0 or 1 than this are not told as certain


class _Unsaid(Exception):
    """A number that the sentence needs is not there."""


def worded(parts: Iterable[Part]) -> list[str]:
    """The sentences, in the order of ``parts``.

    >>> worded([{"says": "end", "end": "span"}, {"says": "rate", "rate": 0.2, "lower": 0.1}])
    ['The upper end of the range (span) decides: it meets the tolerance first.']
    """
    sentences = []
    for part in parts:
        say = SENTENCES.get(str(part.get("says")))
        try:
            sentences.append(say(part) if say else "")
        except _Unsaid:
            continue
    return [sentence for sentence in sentences if sentence]


def first_reason(parts: Iterable[Part]) -> str:
    """The sentence that tells what decided; "" where nothing can be said. Which end it was is told
    by the others.
    """
    return next(iter(worded(part for part in parts if part.get("says") != "end")), "")


# ---- numbers ----
def _value(part: Part, name: str) -> float:
    value = part.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _Unsaid(name)
    return float(value)


def _count(part: Part, name: str) -> int:
    return round(_value(part, name))


def _plural(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _months(part: Part, name: str) -> str:
    """Years in months; whole where the day of the month makes no difference."""
    months = 12 * _value(part, name)
    return _in_months(months)


def _in_months(months: float) -> str:
    whole = round(months)
    if abs(months - whole) < 0.05:
        return _plural(whole, "month", "months")
    return f"{number(months, 1)} months"


def chance(share: float) -> str:
    """A probability in per cent; never as a certainty.

    >>> chance(0.952), chance(0.99999), chance(0.0)
    ('95.2\\xa0%', 'more than 99.9\\xa0%', 'less than 0.1\\xa0%')
    """
    if share > 1 - BARELY:
        return f"more than 99.9{SPACE}%"
    if share < BARELY:
        return f"less than 0.1{SPACE}%"
    return f"{number(100 * share, 1)}{SPACE}%"


def short_chance(share: float) -> str:
    """The same for a column of figures.

    >>> short_chance(0.952), short_chance(0.99999)
    ('95.2\\xa0%', '> 99.9\\xa0%')
    """
    return chance(share).replace("more than", ">").replace("less than", "<")


def _chance(part: Part, name: str = "probability") -> str:
    return chance(_value(part, name))


def _asked(part: Part) -> str:
    """The target as it was typed: 95 %, 99.5 %."""
    return f"{100 * _value(part, 'target'):.4g}{SPACE}%"


def _share(value: float) -> str:
    return f"{number(100 * value, 0)}{SPACE}%"


# ---- what decided ----
def _target(part: Part) -> str:
    return (
        f"At {_months(part, 'years')} the next as found is in tolerance with a probability of "
        f"{_chance(part)}; "
        f"asked are {_asked(part)}."
    )


def _not_reached(part: Part) -> str:
    return (
        f"Even at {_months(part, 'lower')}, the shortest interval allowed, the next as found is "
        "in tolerance with a "
        f"probability of only {_chance(part)}; asked are {_asked(part)}."
    )


def _limited(part: Part) -> str:
    return (
        f"The figures would allow {_months(part, 'wanted')}; one step may lengthen it to "
        f"{_months(part, 'years')}. "
        f"There the next as found is in tolerance with a probability of {_chance(part)}; asked "
        f"are {_asked(part)}."
    )


def _upper_bound(part: Part) -> str:
    return (
        f"Even at {_months(part, 'upper')}, the longest interval allowed, the next as found is in "
        "tolerance with a "
        f"probability of {_chance(part)}; asked are {_asked(part)}."
    )


def _change(verb: str) -> Callable[[Part], str]:
    def say(part: Part) -> str:
        return (
            f"The interval is {verb} from {_months(part, 'current')} to {_months(part, 'years')}."
        )

    return say


def _unchanged(part: Part) -> str:
    return f"The interval stays at {_months(part, 'current')}."


# ---- how it drifts ----
def _rate(part: Part) -> str:
    rate, lower, upper = (_value(part, name) for name in ("rate", "lower", "upper"))
    said = (
        f"It drifts by {percent(rate)}{SPACE}% of span a year "
        f"(95{SPACE}%: {percent(lower)} to {percent(upper)})"
    )
    return said + ("; no drift at all fits too." if lower <= 0 <= upper else ".")


def _walk(part: Part) -> str:
    walk, steady = _value(part, "walk"), _value(part, "steady")
    return (
        f"Beside the drift it wanders at random, by about {number(walk, 2)}{SPACE}% of span "
        "within a year; "
        f"that it does not wander at all has a probability of {chance(steady)}."
    )


def _borrowed(part: Part) -> str:
    others = _count(part, "others")
    return (
        f"{_share(_value(part, 'own'))} of that rate is its own history, "
        f"{_share(_value(part, 'borrowed'))} is "
        f"borrowed from {_plural(others, 'other', 'others')} of its family."
    )


def _alone(part: Part) -> str:
    return (
        f"Too few others of its family are known to lend anything: {_share(_value(part, 'own'))} "
        "of that rate is "
        f"its own history, the rest a cautious assumption."
    )


def _ever_out(part: Part) -> str:
    return (
        "That it has been out of tolerance at some time by then has a probability of "
        f"{_chance(part)}."
    )


def _true_error(part: Part) -> str:
    return f"Its true error is in tolerance on that day with a probability of {_chance(part)}."


def _no_step(part: Part) -> str:
    return "All this holds if no step comes, such as a repair, a swap or a change of product."


ENDS = {"zero": "lower end of the range (zero)", "span": "upper end of the range (span)"}


def _end(part: Part) -> str:
    if part.get("end") not in ENDS:
        raise _Unsaid("end")
    return f"The {ENDS[part['end']]} decides: it meets the tolerance first."


# ---- other ways to choose ----
def _stair(found: str, verb: str) -> Callable[[Part], str]:
    def say(part: Part) -> str:
        share = f"{_value(part, 'percent'):.3g}{SPACE}%"
        return (
            f"The last as found was {found} tolerance: the staircase {verb} the interval by "
            f"{share}."
        )

    return say


def _reliability(part: Part) -> str:
    results, out, instruments = (_count(part, n) for n in ("results", "out", "instruments"))
    months = _in_months(_value(part, "months"))
    curve = part.get("curve")
    by = f"by {'an' if curve == 'exponential' else 'a'} {curve} curve" if curve else "by its curve"
    limit = part.get("by") == "limit"
    told = f"{by} and its cautious limit (one-sided, 95{SPACE}%)" if limit else by
    sentence = (
        f"Of {_plural(results, 'result', 'results')} of "
        f"{_plural(instruments, 'transmitter', 'transmitters')} of its "
        f"family {_plural(out, 'was', 'were')} out of tolerance: {told}, {_asked(part)} are still "
        "in tolerance at "
        f"{months}."
    )
    return sentence + _design_effect(part)


def _design_effect(part: Part) -> str:
    try:
        effect = _value(part, "design_effect")
    except _Unsaid:
        return ""
    if effect <= 1.05:
        return ""
    return (
        f" Results of one transmitter are alike, so that {number(effect, 1)} of them count as one."
    )


def _too_few(part: Part) -> str:
    results, needed = _count(part, "results"), _count(part, "needed")
    return (
        f"Its family has {_plural(results, 'result', 'results')} that say whether it was in "
        "tolerance; "
        f"{needed} are needed for a curve."
    )


SENTENCES: dict[str, Callable[[Part], str]] = {
    "target": _target,
    "target not reached at lower bound": _not_reached,
    "lengthening limited": _limited,
    "upper bound": _upper_bound,
    "longer": _change("lengthened"),
    "shorter": _change("shortened"),
    "unchanged": _unchanged,
    "rate": _rate,
    "walk": _walk,
    "borrowed from family": _borrowed,
    "judged alone": _alone,
    "ever out by then": _ever_out,
    "true error in tolerance": _true_error,
    "if no step comes": _no_step,
    "end": _end,
    "staircase in": _stair("in", "lengthens"),
    "staircase out": _stair("out of", "shortens"),
    "reliability": _reliability,
    "too few results": _too_few,
}
