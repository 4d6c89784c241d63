"""The drift of a transmitter in words: one sentence, and its other figures each under its name."""

from __future__ import annotations

import datetime as dt

import numpy as np

from calibration.drift.reads import NEEDED, Drift
from calibration.drift.results import DAYS_PER_YEAR
from calibration.drift.stages import Stage
from calibration.metrology.crossing import probability_ever_out
from calibration.metrology.families import FEWEST_OTHERS
from plant.quantities import day_text, percent, percent_of_span, plural_text, probability_text

HORIZON_YEARS = 10
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
        return f"The 95 % band stays inside the tolerance for the next {HORIZON_YEARS} years."
    if on <= drift.days[-1]:
        return "The 95 % band was already outside the tolerance at the last result."
    return f"The 95 % band {'met' if on < today else 'meets'} the tolerance on {day_text(on)}."


def figures_of(drift: Drift, *, due: dt.date) -> list[Figure]:
    """None of them is a date that the results cannot carry."""
    figures = [
        ("Source of the rate", _source(drift)),
        ("Steady or wandering", _walk(drift)),
        *_changing_rate(drift),
        *_cross_checks(drift),
    ]
    if not drift.dated:
        return figures
    return [
        ("When due", _on(drift, due)),
        ("Crossing day", _crossing_days(drift)),
        ("Out before it is due", _ever(drift, due)),
        *figures,
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


def _changing_rate(drift: Drift) -> list[Figure]:
    """Only where the rate more likely changes than not: a caution, and what to do about it."""
    likely = float(drift.known_outlook.changing[0])
    if likely <= CHANGING:
        return []
    text = (
        f"its rate is changing, with a probability of {probability_text(likely)}; the band is "
        "wider for it. Look for the cause, such as a coating, wear or moisture, before the "
        "interval is lengthened"
    )
    return [("Changing rate", text)]


def _on(drift: Drift, due: dt.date) -> str:
    day = max(due, drift.days[-1])
    band = drift.ahead([day])
    low, high = (percent(float(end[0, 0]), drift.tolerance) for end in (band.lower, band.upper))
    likely = probability_text(drift.in_tolerance(day))
    return (
        f"{drift.end} found in tolerance on {day_text(day)} with a probability of {likely}; 95 % "
        f"band {low} to {high} % of span"
    )


def _crossing_days(drift: Drift) -> str:
    """2.5, 50 and 97.5 % of being out; any of them may never come."""
    crossings = drift.crossings()
    early, middle, late = (_day(drift, float(day[0])) for day in crossings.out)
    line = _day(drift, float(crossings.line[0]))
    return (
        f"the expected drift meets the tolerance {line}; probability of being out 2.5 % {early}, "
        f"50 % {middle}, 97.5 % {late}"
    )


def _day(drift: Drift, years: float) -> str:
    if np.isinf(years):
        return f"not within {HORIZON_YEARS} years"
    return f"on {day_text(drift.days[-1] + dt.timedelta(int(years * DAYS_PER_YEAR)))}"


def _ever(drift: Drift, due: dt.date) -> str:
    years = max((due - drift.days[-1]).days, 0) / DAYS_PER_YEAR
    probability = float(probability_ever_out(drift.known_outlook, years, drift.tolerance)[0])
    return (
        f"it will have been out at some time by then: probability {probability_text(probability)}"
    )
