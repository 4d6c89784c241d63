"""Families of like transmitters: which point is of which, and how long they stay in tolerance, from
pass and fail.

A family is a principle, and for capacitance probes whether the liquid conducts: then the insulation
of the probe is the whole capacitor, and what drifts is another thing. Families reach over all
sites: only numbers go from one site to another. A result belongs to the family of the product that
stood in the tank when it was taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.db import connection

from calibration.families.models import Family
from calibration.metrology.drift import CannotFit
from calibration.metrology.reliability import (
    FEWEST_FAILURES_WEIBULL,
    FEWEST_RESULTS,
    FEWEST_RESULTS_WEIBULL,
    RateLimit,
    ReliabilityFit,
    fit_exponential,
    fit_weibull,
    rate_limit,
)
from calibration.metrology.visit_results import Results, design_effect, times_since_renewal
from plant.transmitters.models import Principle

MOST, _PARTS = 1000, 10007
CAPACITANCE = (Principle.CAPACITANCE_ROD.value, Principle.CAPACITANCE_ROPE.value)
DAYS_PER_YEAR, MONTHS_PER_YEAR = 365.25, 12.0


# ---- which family ----
def key_of(principle: str, conducts: bool | None) -> str:
    """The family's key. conducts: the liquid; None where no product is known, or where it does not
    matter.

    >>> key_of("capacitance rod", True), key_of("radar", True), key_of("capacitance rope", None)
    ('capacitance rod, conducting', 'radar', 'capacitance rope')
    """
    if principle not in CAPACITANCE or conducts is None:
        return principle
    return f"{principle}, {'conducting' if conducts else 'insulating'}"


# The same in SQL, of t (transmitter) and whether the liquid conducts.
_MATTERS = "t.principle IN ('capacitance rod', 'capacitance rope')"
_KEY = f"""t.principle || CASE WHEN NOT {_MATTERS} OR {{conducts}} IS NULL THEN ''
    WHEN {{conducts}} THEN ', conducting' ELSE ', insulating' END"""

# Of the transmitter t now hanging over a tank whose product is q.
KEY = _KEY.format(conducts="q.conducts")

FAMILY_OF = f"""
    SELECT p.id, {KEY}
    FROM plant_measuringpoint p
    JOIN plant_installation i ON i.point_id = p.id AND i.removed_on IS NULL
    JOIN plant_transmitter t ON t.id = i.transmitter_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
    WHERE p.id = ANY(%s)
"""  # noqa: S608 - parts written above

ENSURE = f"""
    INSERT INTO calibration_family (key, principle, conducts, members, zero_weights, span_weights)
    SELECT DISTINCT {KEY}, t.principle,
        CASE WHEN {_MATTERS} THEN q.conducts END, 0, '{{}}'::float8[], '{{}}'::float8[]
    FROM plant_installation i
    JOIN plant_transmitter t ON t.id = i.transmitter_id
    JOIN plant_measuringpoint p ON p.id = i.point_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
    WHERE i.removed_on IS NULL
    ON CONFLICT (key) DO NOTHING
"""  # noqa: S608 - parts written above


def family_of(point_ids: Iterable[int]) -> dict[int, str]:
    """The key of the family of the transmitter now at each point; a point without a transmitter is
    left out.
    """
    with connection.cursor() as cursor:
        cursor.execute(FAMILY_OF, [list(point_ids)])
        return dict(cursor.fetchall())


def ensure_families() -> int:
    """A row for each family that has a transmitter in service; returns how many are new."""
    with connection.cursor() as cursor:
        cursor.execute(ENSURE)
        return cursor.rowcount


# ---- what was found ----
_RECORDS = """
    FROM calibration_calibration r
    JOIN plant_transmitter t ON t.id = r.transmitter_id
    JOIN plant_measuringpoint p ON p.id = r.point_id
    JOIN plant_tank k ON k.id = p.tank_id
    LEFT JOIN plant_product q ON q.id = k.product_id
    LEFT JOIN plant_product w ON w.site_id = r.site_id AND w.name = r.product_name
"""
_STANDING = """
    WHERE r.state = 'approved' AND NOT EXISTS (
        SELECT 1 FROM calibration_calibration a
        WHERE a.amends_id = r.id AND a.amends_id IS NOT NULL AND a.state = 'approved')
"""
_CONDUCTS = "coalesce(w.conducts, q.conducts)"
# An inconclusive result counts as in when the error itself lay within the tolerance.
_FOUND_IN = "abs(r.found_largest) <= r.tolerance_percent + 1e-9 AND NOT r.shows_failure"
_LEFT_IN = "abs(coalesce(r.left_largest, r.found_largest)) <= r.tolerance_percent + 1e-9"

RESULTS = f"""
    SELECT r.transmitter_id, r.point_id, r.done_on - DATE '2000-01-01', t.site_id, t.maker,
        coalesce({_FOUND_IN}, false), coalesce({_LEFT_IN}, false), r.adjusted,
        r.found_largest IS NULL OR coalesce(j.why = 'after repair', false)
    {_RECORDS} LEFT JOIN calibration_job j ON j.id = r.job_id {_STANDING}
        AND (t.id * 7919) %% 10007 < %s AND t.principle = %s AND (NOT {_MATTERS} OR {_CONDUCTS} IS NOT DISTINCT FROM %s)
    ORDER BY r.transmitter_id, r.done_on, r.id
"""  # noqa: S608 - parts written above

COUNT = f"""
    UPDATE calibration_family f SET results = coalesce(c.results, 0), found_in = coalesce(c.found_in, 0)
    FROM calibration_family g LEFT JOIN (
        SELECT {_KEY.format(conducts=_CONDUCTS)} AS key, count(*) AS results,
            count(*) FILTER (WHERE {_FOUND_IN}) AS found_in
        {_RECORDS} {_STANDING} AND r.found_largest IS NOT NULL GROUP BY 1
    ) c ON c.key = g.key
    WHERE g.id = f.id
"""  # noqa: S608 - parts written above


@dataclass(frozen=True, eq=False)
class FamilyResults:
    """What a family's standing records say of staying in tolerance. site, maker: of each instrument
    of ``seen``.

    seen: None where no instrument was visited twice. records: how many there are in all; the first
    of an instrument, and those after a fail that was not put right, tell nothing.
    """

    seen: Results | None
    site: np.ndarray
    maker: np.ndarray
    records: int


def count_results() -> None:
    """Keep, for each family, how many as founds its standing records hold over all sites, and how
    many were in.
    """
    with connection.cursor() as cursor:
        cursor.execute(COUNT)


def results_of(family: Family) -> FamilyResults:
    """Pass and fail of the family over all sites, by time since renewal. A transmitter is an
    instrument.

    Its clock begins again with an adjustment that left it in tolerance, with a repair, at another
    point, and where the as found is missing. Of a large family about MOST transmitters, always the
    same ones, stand for all.
    """
    part = math.ceil(_PARTS * min(1.0, MOST / max(family.members, 1)))
    with connection.cursor() as cursor:
        cursor.execute(RESULTS, [part, family.principle, family.conducts])
        rows = cursor.fetchall()
    nothing = FamilyResults(None, np.zeros(0), np.zeros(0), len(rows))
    if not rows:
        return nothing
    columns = zip(*rows, strict=True)
    device, point, day, site, maker, found_in, left_in, adjusted, fresh = map(np.array, columns)
    begins = np.r_[True, (device[1:] != device[:-1]) | (point[1:] != point[:-1])] | fresh
    stint = np.cumsum(begins)
    # Several records of one day: found as the first says, left as the last does.
    first = np.flatnonzero(np.r_[True, (stint[1:] != stint[:-1]) | (day[1:] != day[:-1])])
    found_in = np.where(begins & fresh, left_in, found_in)[first]
    renewed = np.logical_or.reduceat(left_in & (adjusted | (begins & fresh)), first)
    told = times_since_renewal(stint[first], day[first] / DAYS_PER_YEAR, found_in, renewed)
    if not len(told.row):
        return nothing
    visit = first[told.row]
    seen = Results.of(device[visit], told.start, told.end, told.out)
    one = np.unique(device[visit], return_index=True)[1]
    return FamilyResults(seen, site[visit][one], maker[visit][one], len(rows))


# ---- how long it stays in tolerance ----
@dataclass(frozen=True, eq=False)
class Reliability:
    """How long the family stays in tolerance. curve: "weibull", "exponential", "limit" or "" where
    nothing can be said.

    months: until reliability falls to the target by the fitted curve; months_limit: at least so
    long, at the confidence. refusal: why there is no fit, or no more than a limit, in plain words.
    longest_months: the longest time since renewal that was seen; beyond it the curve is only drawn
    on.
    """

    target: float
    confidence: float
    curve: str
    fit: ReliabilityFit | None
    limit: RateLimit | None
    results: int
    failures: int
    instruments: int
    design_effect: float
    longest_months: float
    refusal: str

    @property
    def months(self) -> float | None:
        return None if self.fit is None else MONTHS_PER_YEAR * self.fit.interval(self.target)

    @property
    def months_limit(self) -> float | None:
        if self.fit is not None:
            return MONTHS_PER_YEAR * self.fit.interval_limits(self.target).lower
        return None if self.limit is None else MONTHS_PER_YEAR * self.limit.interval(self.target)


def reliability_of(family: Family, target: float = 0.95, confidence: float = 0.95) -> Reliability:
    """Read the family's results and fit what they allow (one query). target, confidence: as shares,
    0 to 1.
    """
    return reliability(results_of(family).seen, target, confidence)


def reliability(seen: Results | None, target: float, confidence: float) -> Reliability:
    """A Weibull curve where there is enough for it, else a constant rate, else only its limit."""
    if seen is None:
        why = (
            "No transmitter of the family was calibrated twice yet: nothing tells how long they "
            "stay in tolerance."
        )
        return Reliability(target, confidence, "", None, None, 0, 0, 0, 1.0, 0.0, why)
    curve, fit, limit, why = "", None, None, _too_few(seen)
    for name, fit_it in (("weibull", fit_weibull), ("exponential", fit_exponential)):
        try:
            # Two-sided at 2c − 1, each end is a limit at c.
            curve, fit = name, fit_it(seen, confidence=2 * confidence - 1)
            break
        except CannotFit:
            continue
    if fit is None and seen.failures < len(seen):
        curve, limit = "limit", rate_limit(seen, confidence=confidence)
    return Reliability(
        target,
        confidence,
        curve if fit or limit else "",
        fit,
        limit,
        len(seen),
        seen.failures,
        seen.instruments,
        design_effect(seen),
        MONTHS_PER_YEAR * float(seen.end.max()),
        "" if fit else why,
    )


def _too_few(seen: Results) -> str:
    if seen.failures == len(seen):
        return (
            "Every result so far was out of tolerance: shorten the interval, and look for the "
            "cause."
        )
    if seen.failures == 0:
        return "Nothing was found out of tolerance yet, so that only a limit can be given."
    return (
        f"{len(seen)} results tell how long the family stays in tolerance; a curve needs "
        f"{FEWEST_RESULTS}."
    )


def what_a_weibull_needs(of: Reliability) -> str:
    """Why the curve is of a constant rate, in plain words; empty where it is not."""
    if of.curve != "exponential":
        return ""
    if of.results < FEWEST_RESULTS_WEIBULL or of.failures < FEWEST_FAILURES_WEIBULL:
        return (
            "The rate of going out is taken as constant: whether it rises with time can be told "
            "from "
            f"{FEWEST_RESULTS_WEIBULL} results with {FEWEST_FAILURES_WEIBULL} out of tolerance."
        )
    return (
        "The rate of going out is taken as constant: all visits came after about the same time, "
        "so that nothing tells "
        "whether it rises."
    )
