"""The drift of a transmitter in words: one sentence, and its other figures each under its name."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

import numpy as np

from calibration.drift.reads import NEEDED, Drift
from calibration.drift.results import DAYS_PER_YEAR
from calibration.drift.stages import Stage
from calibration.drift.visits import Visit
from calibration.metrology.crossing import HORIZON, probability_ever_out
from calibration.metrology.families import FEWEST_OTHERS
from plant.points.tolerance_texts import limits_text
from plant.quantities import (
    day_text,
    percent,
    percent_of_span,
    plural_text,
    probability_text,
)

CHANGING = 0.5  # above this probability that the rate changes the page asks for the cause

Figure = tuple[str, str]  # its name, and what it is


def sentence(drift: Drift, today: dt.date) -> str:
    """Rate, its 95 % interval and the day on which the band meets the tolerance."""
    if drift.outlook is None:
        have = plural_text(drift.results, "result")
        are = "is" if drift.results == 1 else "are"
        return f"A trend needs {NEEDED} results; there {are} {have} so far."
    rate, low, high = (percent(value, drift.tolerance) for value in drift.rate)
    return (
        f"{rate} % of span a year (95 %: {low} to {high}), from {drift.results} results. "
        f"{_meets(drift, today)}"
    )


def _meets(drift: Drift, today: dt.date) -> str:
    if not drift.dated:
        return "A day can be named after one more result."
    on = drift.crossing_on
    if on is None:
        return f"The 95 % band stays inside the tolerance for the next {HORIZON:.0f} years."
    if on <= drift.days[-1]:
        return "The 95 % band was already outside the tolerance at the last result."
    return f"The 95 % band {limit_words(on, today)} on {day_text(on)}."


def limit_words(on: dt.date, today: dt.date) -> str:
    """Of the day on which the band meets the tolerance: a past day reads otherwise than a coming
    one.
    """
    return "met the tolerance" if on < today else "reaches the tolerance"


def summary(drift: Drift, visits: Sequence[Visit], today: dt.date, *, taken_out: bool) -> str:
    """The picture for those who do not see it; the table beneath has each result."""
    if taken_out:
        visits = [visit for visit in visits if visit.is_counted]
    first, last = day_text(visits[0].day), day_text(visits[-1].day)
    out = sum(visit.out for visit in visits)
    aside = sum(not visit.is_counted for visit in visits)
    parts = [
        f"{plural_text(len(visits), 'result')} at {drift.end} from {first} to {last}",
        f"{aside} of them not in the trend" if aside else "",
        _reach("drift with adjustments taken out", [visit.value for visit in visits], drift)
        if taken_out
        else _reach("as found", [visit.found for visit in visits], drift),
        f"{out} found out of tolerance" if out else "none found out of tolerance",
        f"adjusted {plural_text(sum(visit.adjusted for visit in visits), 'time')}",
        f"tolerance {limits_text(drift.limits)} of span",
    ]
    return f"{', '.join(part for part in parts if part)}. {sentence(drift, today)}"


def _reach(name: str, values: Iterable[float | None], drift: Drift) -> str:
    known = [value for value in values if value is not None]
    if not known:
        return ""
    low, high = (percent(end, drift.tolerance) for end in (min(known), max(known)))
    return f"{name} {low} to {high} % of span"


def figures_of(drift: Drift, *, due: dt.date) -> list[Figure]:
    """How the rate was computed. None of them is a date that the results cannot carry."""
    figures = [
        ("Source of the rate", _source(drift)),
        ("Steady or wandering", _walk(drift)),
        *_cross_checks(drift),
    ]
    if not drift.dated:
        return figures
    return [
        *figures,
        ("Expected drift", _expected(drift)),
        ("Out before it is due", _ever(drift, due)),
    ]


def _cross_checks(drift: Drift) -> list[Figure]:
    figures = []
    if drift.plain is not None:
        low, high = (percent(float(end), drift.tolerance) for end in drift.plain.slope_interval())
        rate = percent_of_span(float(drift.plain.slope), drift.tolerance)
        text = f"{rate} a year ({low} to {high}), by one line through all increments"
        figures.append(("Plain cross-check", text))
    if drift.robust is not None:
        rate = percent_of_span(drift.robust, drift.tolerance)
        text = f"{rate} a year, by the median of the slopes between all pairs of results"
        figures.append(("Robust cross-check", text))
    return figures


def stage_figure(stage: Stage) -> Figure:
    name = stage.name.capitalize()
    if not stage.observed:
        return name, "not observed: no reading of that kind can be compared with an earlier one"
    rate, low, high = (percent(value, 0.5) for value in (stage.rate, stage.low, stage.high))
    return name, f"{rate} % of span a year (95 %: {low} to {high})"


def _source(drift: Drift) -> str:
    outlook = drift.known_outlook
    others = int(outlook.others[0])
    if not others:
        return (
            f"its own history only, since its family has fewer than {FEWEST_OTHERS} other members "
            "with a measurable drift; the band is wide at first"
        )
    own = round(100 * float(outlook.own_weight[0]))
    text = f"{own} % its own history, {100 - own} % from {others} others of its family"
    return f"mostly its family: {text}" if own < 50 else text


def _walk(drift: Drift) -> str:
    outlook = drift.known_outlook
    weights = outlook.weights[:, 0]
    q = np.broadcast_to(outlook.q, outlook.weights.shape)[:, 0]
    steady = probability_text(float(weights[0]))
    walk = percent(float(np.sqrt((weights * q).sum())), drift.tolerance).lstrip("+")
    return (
        f"purely steady with a probability of {steady}; beside its drift it wanders by about "
        f"{walk} % of span in a year"
    )


def caution_of(drift: Drift) -> str:
    """Where the rate more likely changes than not, that, and what to do about it; else ""."""
    likely = float(drift.known_outlook.changing[0])
    if likely <= CHANGING:
        return ""
    return (
        f"Its rate is changing, with a probability of {probability_text(likely)}; the band is "
        "wider for it. Look for the cause, such as a coating, wear or moisture, before the "
        "interval is lengthened."
    )


def _expected(drift: Drift) -> str:
    return f"meets the tolerance {_day(drift, float(drift.crossings().line[0]))}"


def _day(drift: Drift, years: float) -> str:
    if np.isinf(years):
        return f"not within {HORIZON:.0f} years"
    return f"on {day_text(drift.days[-1] + dt.timedelta(int(years * DAYS_PER_YEAR)))}"


def _ever(drift: Drift, due: dt.date) -> str:
    years = max((due - drift.days[-1]).days, 0) / DAYS_PER_YEAR
    probability = float(probability_ever_out(drift.known_outlook, years, drift.limits.half)[0])
    return (
        f"it will have been out at some time by then: probability {probability_text(probability)}"
    )
