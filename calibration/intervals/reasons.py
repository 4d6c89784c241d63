"""Why an interval is proposed, in plain sentences: the parts of
calibration.metrology.intervals.reasons, worded.

Each part is {"says": key, …numbers}. The sentence of each key is a template whose fields say how a
number is shown: years in months, shares of one in per cent. A part whose numbers are missing or no
numbers is left out rather than worded wrongly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from plant.quantities import SPACE, number, percent, plural_text, probability_text, share_text

Part = Mapping[str, Any]


class _NoNumber(Exception):
    """A number that the sentence needs is not there."""


def worded(parts: Iterable[Part]) -> list[str]:
    """The sentences, in the order of ``parts``.

    >>> worded([{"says": "end", "end": "span"}, {"says": "rate", "rate": 0.2, "lower": 0.1}])
    ['The upper end of the range (span) decides: it meets the tolerance first.']
    """
    sentences = []
    for part in parts:
        template = _template(part)
        try:
            sentences.append(template.format_map(_Figures(part)))
        except _NoNumber:
            continue
    return [sentence for sentence in sentences if sentence]


# ---- numbers ----
def _in_months(months: float) -> str:
    """Whole where the day of the month makes no difference."""
    whole = round(months)
    if abs(months - whole) < 0.05:
        return plural_text(whole, "month")
    return f"{number(months, 1)} months"


SHOW: dict[str, Callable[[float], str]] = {
    "years": lambda years: _in_months(12 * years),
    "months": _in_months,
    "probability": probability_text,
    "target": share_text,
    "share": lambda share: f"{number(100 * share, 0)}{SPACE}%",
    "percent": lambda value: f"{value:.3g}{SPACE}%",
    "error": percent,
    "walk": lambda value: f"{number(value, 2)}{SPACE}%",
    "tenths": lambda value: number(value, 1),
    "results": lambda value: plural_text(round(value), "result"),
    "transmitters": lambda value: plural_text(round(value), "transmitter"),
    "others": lambda value: plural_text(round(value), "other member"),
    "were": lambda value: plural_text(round(value), "was", "were"),
}


@dataclass(frozen=True)
class _Figure:
    value: float

    def __format__(self, spec: str) -> str:
        return SHOW[spec](self.value)


class _Figures(dict[str, Any]):
    """The part's numbers, each shown as the template asks. Raises _NoNumber for what is none."""

    def __getitem__(self, name: str) -> Any:
        return _Figure(_number(self, name))


def _number(part: Part, name: str) -> float:
    value = part.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _NoNumber(name)
    return float(value)


# ---- sentences ----
IN_TOLERANCE = "the probability that the next as found is in tolerance is"
RATE = f"It drifts by {{rate:error}}{SPACE}% of span a year"
BAND = f"(95{SPACE}%: {{lower:error}} to {{upper:error}})"
FAMILY = (
    "Of {results:results} of {instruments:transmitters} of its family {out:were} out of tolerance: "
)
STILL_IN = "{target:target} are still in tolerance at {months:months}."
SENTENCES: dict[str, str] = {
    # What decided.
    "target": (
        f"At {{years:years}} {IN_TOLERANCE} {{probability:probability}}; target {{target:target}}."
    ),
    "target not reached at lower bound": (
        f"Even at {{lower:years}}, the shortest interval allowed, {IN_TOLERANCE} only "
        "{probability:probability}; target {target:target}."
    ),
    "lengthening limited": (
        "The figures would allow {wanted:years}; one change may lengthen the interval to "
        f"{{years:years}} at most. There {IN_TOLERANCE} {{probability:probability}}; target "
        "{target:target}."
    ),
    "upper bound": (
        f"Even at {{upper:years}}, the longest interval allowed, {IN_TOLERANCE} "
        "{probability:probability}; target {target:target}."
    ),
    "longer": "The interval is lengthened from {current:years} to {years:years}.",
    "shorter": "The interval is shortened from {current:years} to {years:years}.",
    "unchanged": "The interval stays at {current:years}.",
    # How it drifts.
    "rate": f"{RATE} {BAND}.",
    "rate, perhaps none": f"{RATE} {BAND}; it may also not drift at all.",
    "walk": (
        "Beside the drift it wanders at random, by about {walk:walk} of span within a year; the "
        "probability that it does not wander at all is {steady:probability}."
    ),
    "borrowed from family": (
        "{own:share} of that rate comes from its own history, {borrowed:share} from "
        "{others:others} of its family."
    ),
    "judged alone": (
        "Too few others of its family have a measurable drift: {own:share} of that rate comes from "
        "its own history, the rest is a cautious assumption."
    ),
    "ever out by then": (
        "The probability that it will have been out of tolerance at some time by then is "
        "{probability:probability}."
    ),
    "true error in tolerance": (
        "The probability that its true error is in tolerance on that day is "
        "{probability:probability}."
    ),
    "if no step comes": (
        "All this holds if no jump comes, such as after a repair, a swap or a change of product, "
        "and the rate does not change."
    ),
    "every reading": (
        "Bend, hysteresis and scatter of the readings make it shorter than that end alone would."
    ),
    "end, zero": "The lower end of the range (zero) decides: it meets the tolerance first.",
    "end, span": "The upper end of the range (span) decides: it meets the tolerance first.",
    # Other ways to choose.
    "staircase in": (
        "The last as found was in tolerance: the staircase lengthens the interval by "
        "{percent:percent}."
    ),
    "staircase out": (
        "The last as found was out of tolerance: the staircase shortens the interval by "
        "{percent:percent}."
    ),
    "reliability": f"{FAMILY}by {{}}, {STILL_IN}",
}
LIMIT = f"and its cautious limit (one-sided, 95{SPACE}%)"
ALIKE = (
    " Results of one transmitter are alike, so that {design_effect:tenths} of them count as one."
)


def _template(part: Part) -> str:
    """The template of a part; "" for a key that is not known."""
    says = str(part.get("says"))
    if says == "rate":
        return SENTENCES["rate, perhaps none" if _may_be_zero(part) else "rate"]
    if says == "end":
        return SENTENCES.get(f"end, {part.get('end')}", "")
    if says == "reliability":
        return SENTENCES[says].replace("{}", _curve(part)) + _alike(part)
    return SENTENCES.get(says, "")


def _may_be_zero(part: Part) -> bool:
    try:
        return _number(part, "lower") <= 0 <= _number(part, "upper")
    except _NoNumber:
        return False


def _curve(part: Part) -> str:
    curve = part.get("curve")
    article = "an" if curve == "exponential" else "a"
    words = f"{article} {curve} curve" if curve else "its curve"
    return f"{words} {LIMIT}" if part.get("by") == "limit" else words


def _alike(part: Part) -> str:
    try:
        return ALIKE if _number(part, "design_effect") > 1.05 else ""
    except _NoNumber:
        return ""
