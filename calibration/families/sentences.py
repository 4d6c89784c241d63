"""What a family's page says in words: the interval, the curve, whether it fits, whether it is one
family, and what it expects of a member.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.families.models import Family
from calibration.families.rate_charts import Rate
from calibration.families.reads import FamilyResults
from calibration.families.reliability import Reliability, what_a_weibull_needs
from calibration.metrology.drift import CannotFit
from calibration.metrology.fit_checks import Comparison, goodness_of_fit, homogeneity
from calibration.metrology.fleet_fit import SAMPLE
from calibration.metrology.visit_results import Results
from calibration.metrology.wander import CHANGES, WALKS, weights_of_all_laws
from plant.quantities import (
    number,
    percent,
    percent_decimals,
    plus_minus,
    probability_text,
    share_text,
    with_unit,
)

SUSPECT = 0.05  # below this probability by chance a difference is pointed out
FEWEST_FORECASTS = 20
SEED = 20  # the exchanges are drawn alike at each look, so that a page says the same twice
# Tolerances per √year: the first two of wander.NODES are as good as none.
FEWEST_WALK = 0.045


def months_text(months: float) -> str:
    """Whole months, rounded down: an interval reliability too long would be the worse error."""
    if months >= 120:
        return with_unit("more than 120", "months")
    if months < 1:
        return "less than a month"
    whole = math.floor(months)
    return with_unit(str(whole), "month" if whole == 1 else "months")


def interval_sentence(reliability: Reliability) -> str:
    """The interval for the target, by estimate and by limit; or why there is none."""
    if reliability.months_limit is None:
        return reliability.refusal
    target, sure = share_text(reliability.target), share_text(reliability.confidence)
    limit = months_text(reliability.months_limit)
    if reliability.months is None:
        return (
            f"{reliability.refusal} With {sure} confidence {target} are still in tolerance after "
            f"{limit}."
        )
    text = (
        f"By the fitted curve {target} are still in tolerance {months_text(reliability.months)} "
        f"after renewal; with {sure} confidence, {limit} after it."
    )
    return f"{text} {_beyond(reliability)}".rstrip()


def _beyond(reliability: Reliability) -> str:
    if reliability.months is None or reliability.months <= reliability.longest_months:
        return ""
    return (
        f"No result came later than {months_text(reliability.longest_months)} after renewal: "
        "beyond that the curve is extrapolated."
    )


COUNTED_CAPTION = (
    "The counted curve is drawn while five or more results reach so far; it slopes where it is not "
    "known when it falls. Along the foot stands each result, by time since renewal."
)


def band_name(reliability: Reliability) -> str:
    """What the wash of the picture is."""
    if reliability.fit is not None:
        return f"its {share_text(2 * reliability.confidence - 1)} band"
    return f"where it lies with {share_text(reliability.confidence)} confidence"


def curve_sentence(reliability: Reliability) -> str:
    """Which curve, its figures with their limits, and what they mean."""
    fit = reliability.fit
    if fit is None:
        return ""
    around = share_text(2 * reliability.confidence - 1)
    if reliability.curve == "weibull":
        low, high = fit.shape_limits
        limits = f"({around}: {number(low, 2)} to {number(high, 2)})"
        meaning = _meaning_of_shape(low, high)
        return f"Weibull curve of shape {number(fit.shape, 2)} {limits}: {meaning}."
    low, high = fit.rate_limits
    limits = f"({around}: {number(100 * low, 1)} to {number(100 * high, 1)})"
    rate = f"{number(100 * fit.rate, 1)} in 100 go out of tolerance in a year {limits}"
    return f"Constant rate: {rate}. {what_a_weibull_needs(reliability)}".rstrip()


def _meaning_of_shape(low: float, high: float) -> str:
    if low > 1:
        return "the risk of going out rises with time since renewal"
    if high < 1:
        return "the risk of going out falls with time since renewal"
    return "the results do not show yet whether the risk of going out rises with time"


def effect_sentence(reliability: Reliability) -> str:
    """How far results of one transmitter are alike."""
    if not reliability.results:
        return ""
    if not reliability.failures:
        return (
            "Whether results of one transmitter are alike is not known yet: for the limits two "
            "count as one."
        )
    if reliability.design_effect <= 1.05:
        return "Results of one transmitter are no more alike than by chance."
    count = number(reliability.design_effect, 1)
    return f"Results of one transmitter are alike: for the limits {count} of them count as one."


def fit_sentence(results: FamilyResults, reliability: Reliability) -> str:
    """Whether the curve agrees with how many were out at each time since renewal."""
    if results.seen is None or reliability.fit is None:
        return ""
    try:
        comparison = goodness_of_fit(results.seen, reliability.fit)
    except CannotFit:
        return (
            "Whether the curve fits cannot be judged yet: too few were out of tolerance, or all at "
            "one time since renewal."
        )
    by_chance = by_chance_text(comparison)
    if comparison.p_value >= SUSPECT:
        return f"The curve agrees with the results ({by_chance})."
    return (
        f"The curve does not agree with the results ({by_chance}): the table shows the times at "
        "which more or fewer were out than expected. Use its interval with care."
    )


def sameness_sentences(results: FamilyResults) -> list[str]:
    """Whether sites and makers go out at one rate. No site or maker is named: only numbers cross
    sites.
    """
    if results.seen is None:
        return []
    sentences = []
    for word, groups in (("sites", results.site), ("makers", results.maker)):
        comparison = _compared(results.seen, groups)
        if comparison is not None:
            sentences.append(_sameness(word, comparison))
    return sentences


def _sameness(word: str, comparison: Comparison) -> str:
    by_chance = by_chance_text(comparison)
    if comparison.p_value < SUSPECT:
        return (
            f"The {word} differ in how often transmitters go out of tolerance ({by_chance}): one "
            "curve overestimates some groups."
        )
    return f"The {word} differ no more than by chance ({by_chance})."


def _compared(seen: Results, groups: np.ndarray) -> Comparison | None:
    """None where there is nothing to compare. An instrument without a name for its group stays
    aside.
    """
    named = groups != ""
    rows = named[seen.instrument]
    if not rows.any():
        return None
    some = Results.of(seen.instrument[rows], seen.start[rows], seen.end[rows], seen.out[rows])
    try:
        return homogeneity(some, groups[named], np.random.default_rng(SEED))
    except CannotFit:
        return None


def by_chance_text(comparison: Comparison) -> str:
    return f"probability by chance {probability_text(comparison.p_value)}"


def prior_sentence(family: Family, end: str) -> str:
    """What is expected of a member at one end of the range: the usual rate, its spread, how far it
    wanders.
    """
    rate, spread = getattr(family, f"{end}_rate"), getattr(family, f"{end}_spread")
    sd, weights = getattr(family, f"{end}_mean_sd"), getattr(family, f"{end}_weights")
    if rate is None or spread is None:
        return ""
    tolerance = family.tolerance_percent
    digits = percent_decimals(tolerance)
    known = f", known to {plus_minus(sd, decimals=digits)}" if sd is not None else ""
    text = (
        f"At {end} the usual rate is {percent(rate, tolerance)} % of span a year{known}; from "
        f"member to member it differs by {plus_minus(spread, decimals=digits)} (one standard "
        "deviation)."
    )
    return f"{text} {_walk(weights, tolerance)}".rstrip()


def forecasts_sentence(family: Family) -> str:
    """How often the bands held, on the plant's own results; empty where there are too few."""
    if family.forecasts < FEWEST_FORECASTS:
        return ""
    share = with_unit(number(100 * family.forecasts_held / family.forecasts, 1), "%")
    some = f" ({SAMPLE} of its members, evenly taken)" if family.members > SAMPLE else ""
    return (
        f"Of {family.forecasts} as founds at zero and span{some}, each forecast from the visits "
        f"before it, {family.forecasts_held} lay within the 95 % band ({share}). Jumps and bad "
        "readings count against it; the family's rates are those of today."
    )


def _walk(weights: list[float], tolerance: float | None) -> str:
    if not weights or tolerance is None:
        return ""
    share = weights_of_all_laws(weights) / sum(weights)
    changing = float(share[CHANGES > 0].sum())
    steady = float(share[(WALKS < FEWEST_WALK) & (CHANGES == 0)].sum())
    walk = tolerance * math.sqrt(float((share * WALKS**2).sum()))
    said = []
    if steady > 0.9:
        said.append("Hardly any of them wanders beside its steady drift.")
    elif steady + changing <= 0.9:
        added = plus_minus(walk, decimals=percent_decimals(tolerance))
        said.append(
            f"About {number(100 * (1 - steady - changing), 0)} % of them wander beside their "
            f"steady drift; over the whole family this adds {added} in a year."
        )
    if changing > 0.1:
        said.append(f"In about {number(100 * changing, 0)} % of them the rate itself changes.")
    return " ".join(said)


# ---- the members' rates ----
def rates_caption(drawn: int, fitted: int) -> str:
    return "" if drawn >= fitted else f"The {drawn} fastest of {fitted} members."


def rates_sentence(rates: list[Rate], family: Family, end: str) -> str:
    """The picture of the rates for those who cannot see it."""
    if not rates:
        return ""
    tolerance = family.tolerance_percent
    low, high = (percent(of(rate.rate for rate in rates), tolerance) for of in (min, max))
    return f"Rates of {len(rates)} members at {end}, from {low} to {high} % of span a year."
