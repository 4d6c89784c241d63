"""What a family's page says in words: the interval, the curve, whether it fits, whether it is one
family.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.families.charts import Rate
from calibration.families.models import SAMPLE, Family
from calibration.families.reads import FamilyResults, Reliability, what_a_weibull_needs
from calibration.metrology.drift import CannotFit
from calibration.metrology.fit_checks import Comparison, goodness_of_fit, homogeneity
from calibration.metrology.visit_results import Results
from calibration.metrology.wander import NODES
from plant.quantities import number, percent, percent_decimals, plus_minus, with_unit

SUSPECT = 0.05  # below this chance a difference is spoken of
FEWEST_FORECASTS = 20
SEED = 20  # the exchanges are drawn alike at each look, so that a page says the same twice
FEWEST_WALK = (
    0.045  # tolerances per √year: the first two values of wander.NODES are as good as none
)


def months_text(months: float) -> str:
    """Whole months, rounded down: an interval said too long would be the worse error."""
    if months >= 120:
        return with_unit("more than 120", "months")
    if months < 1:
        return "less than a month"
    whole = math.floor(months)
    return with_unit(str(whole), "month" if whole == 1 else "months")


def share_text(share: float) -> str:
    return with_unit(number(100 * share, 0 if round(1000 * share) % 10 == 0 else 1), "%")


def interval_sentence(said: Reliability) -> str:
    """The interval for the target, by estimate and by limit; or why there is none."""
    if said.months_limit is None:
        return said.refusal
    target, sure = share_text(said.target), share_text(said.confidence)
    limit = months_text(said.months_limit)
    if said.months is None:
        return (
            f"{said.refusal} With {sure} confidence {target} are still in tolerance after {limit}."
        )
    text = (
        f"By the fitted curve {target} are still in tolerance {months_text(said.months)} after "
        "renewal; "
        f"with {sure} confidence this holds for {limit}."
    )
    return f"{text} {_beyond(said)}".rstrip()


def _beyond(said: Reliability) -> str:
    if said.months is None or said.months <= said.longest_months:
        return ""
    return (
        f"No result came later than {months_text(said.longest_months)} after renewal: what lies "
        "beyond is the curve "
        f"drawn on, not experience."
    )


def survival_caption(said: Reliability) -> str:
    """What stands for what in the picture of the curve."""
    each = share_text(2 * said.confidence - 1)
    if said.fit is not None:
        band = (
            f"Coloured line and wash: the fitted curve and its {each} band. On the dashed line, "
            "the target: filled, "
            f"the interval by estimate; hollow, by limit. "
        )
    elif said.limit is not None:
        band = (
            f"Wash: where the curve lies with {share_text(said.confidence)} confidence. On the "
            "dashed line, the "
            f"target: hollow, the interval by limit. "
        )
    else:
        band = ""
    return (
        f"{band}Thin line: counted from the results without any law, while five or more reach so "
        "far; it slopes where "
        "nothing tells when it falls. Along the foot each result, by time since renewal; a "
        "diamond was found out of "
        f"tolerance."
    )


def curve_sentence(said: Reliability) -> str:
    """Which curve, its figures with their limits, and what they mean."""
    if said.fit is None:
        return ""
    around = f"{share_text(2 * said.confidence - 1)}: "
    if said.curve == "weibull":
        low, high = said.fit.shape_limits
        meaning = (
            "the risk of going out rises with time since renewal"
            if low > 1
            else "the risk of going out falls with time since renewal"
            if high < 1
            else "whether the risk of going out rises with time is not settled"
        )
        return (
            f"Weibull curve of shape {number(said.fit.shape, 2)} ({around}{number(low, 2)} to "
            f"{number(high, 2)}): "
            f"{meaning}."
        )
    low, high = said.fit.rate_limits
    rate = (
        f"{number(100 * said.fit.rate, 1)} in 100 a year ({around}{number(100 * low, 1)} to "
        f"{number(100 * high, 1)})"
    )
    return f"Constant rate of going out, {rate}. {what_a_weibull_needs(said)}".rstrip()


def effect_sentence(said: Reliability) -> str:
    if not said.results:
        return ""
    if said.failures and said.design_effect <= 1.05:
        return "Results of one transmitter do not go together more than chance would have it."
    if not said.failures:
        return (
            "Nothing shows yet whether results of one transmitter go together: for the limits "
            "two count as one."
        )
    count = number(said.design_effect, 1)
    return f"Results of one transmitter go together: for the limits {count} of them count as one."


def fit_sentence(found: FamilyResults, said: Reliability) -> str:
    """Whether the curve agrees with how many were found out at each time since renewal."""
    if found.seen is None or said.fit is None:
        return ""
    try:
        judged = goodness_of_fit(found.seen, said.fit)
    except CannotFit:
        return (
            "Whether the curve fits cannot be judged yet: too few were found out, or all at "
            "one time since renewal."
        )
    if judged.p_value >= SUSPECT:
        return f"The curve agrees with what was found ({_chance(judged)})."
    return (
        f"The curve does not agree with what was found ({_chance(judged)}): look in the table for "
        "the times at which "
        f"more or fewer were out than expected, and take its interval with care."
    )


def sameness_sentences(found: FamilyResults) -> list[str]:
    """Whether sites and makers go out at one rate. No site or maker is named: only numbers cross
    sites.
    """
    made = []
    for word, groups in (("sites", found.site), ("makers", found.maker)):
        judged = None if found.seen is None else _compared(found.seen, groups)
        if judged is None:
            continue
        differ = judged.p_value < SUSPECT
        made.append(
            f"The {word} differ in how often transmitters go out of tolerance "
            f"({_chance(judged)}): one curve for all "
            f"is too kind to some."
            if differ
            else f"The {word} differ no more than chance would have it ({_chance(judged)})."
        )
    return made


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


def _chance(judged: Comparison) -> str:
    if judged.p_value < 0.001:
        return "p below 0.001"
    return f"p = {number(judged.p_value, 3 if judged.p_value < 0.1 else 2)}"


def lends_sentence(family: Family, end: str) -> str:
    """What members borrow at one end of the range: the usual rate, its spread, how far they
    walk.
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
        "member to member it "
        f"differs by {plus_minus(spread, decimals=digits)} (one standard deviation)."
    )
    return f"{text} {_walk(weights, tolerance)}".rstrip()


def held_sentence(family: Family) -> str:
    """How often the bands kept what they promise, on the plant's own results; too few are not
    spoken of.
    """
    if family.forecasts < FEWEST_FORECASTS:
        return ""
    share = number(100 * family.forecasts_held / family.forecasts, 1)
    some = f" ({SAMPLE} of its members, evenly taken)" if family.members > SAMPLE else ""
    return (
        f"Of {family.forecasts} as founds at zero and span{some}, each foretold from the visits "
        "before it, the 95 % "
        f"band held {family.forecasts_held} ({with_unit(share, '%')}). Steps and bad readings "
        "count against it; what "
        f"the family lends is of today."
    )


def _walk(weights: list[float], tolerance: float | None) -> str:
    if len(weights) != len(NODES) or tolerance is None:
        return ""
    share = np.array(weights) / sum(weights)
    steady = float(share[NODES < FEWEST_WALK].sum())
    walk = tolerance * math.sqrt(float((share * NODES**2).sum()))
    if steady > 0.9:
        return "Hardly any of them wanders beside its steady drift."
    return (
        f"About {number(100 * (1 - steady), 0)} % of them wander beside their steady drift; over "
        "the whole family that "
        f"adds {plus_minus(walk, decimals=percent_decimals(tolerance))} in a year."
    )


# ---- the members' rates ----
def rates_caption(drawn: int, fitted: int, family: Family, end: str) -> str:
    some = "" if drawn >= fitted else f"The {drawn} fastest of {fitted} members. "
    normal = (
        ""
        if getattr(family, f"{end}_rate") is None
        else " Coloured line and wash: the usual rate of the family, and two standard deviations "
        "about it."
    )
    return f"{some}Each member's rate with its 95 % interval.{normal}"


def rates_sentence(rates: list[Rate], family: Family, end: str) -> str:
    """The picture of the rates for those who cannot see it."""
    if not rates:
        return ""
    tolerance = family.tolerance_percent
    low, high = (percent(of(rate.rate for rate in rates), tolerance) for of in (min, max))
    return f"Rates of {len(rates)} members at {end}, from {low} to {high} % of span a year."
