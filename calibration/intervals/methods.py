"""The interval that each point's policy chooses, by its method, with the numbers behind it.

By drift the target is the chance that the verdict of the next as found is pass. Neither end may
leave its tolerance sooner: the end that does so first is named, or else that readings between and
their scatter decide.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.drift.histories import ENDS
from calibration.drift.results import PointRow, Points, Results
from calibration.drift.trends import Judgement
from calibration.drift.verdicts import Verdicts
from calibration.families.models import Family
from calibration.families.reliability import Reliability, reliability_of
from calibration.intervals import proposals
from calibration.intervals.models import Proposal
from calibration.intervals.proposals import Offer, Offers
from calibration.metrology.intervals import (
    Proposals,
    as_found_probability,
    propose,
    reasons,
    shortened,
)
from calibration.metrology.longest_interval import Longest
from calibration.metrology.staircase import staircase
from calibration.metrology.wander import Outlook
from calibration.policies.models import Policy
from calibration.records.models import Calibration

# A change by less than this share is not worth a planner's time.
WORTH = 0.1


Policies = list[tuple[Policy, np.ndarray]]


def policies_of(points: Points) -> Policies:
    """Each policy that holds for any of these points, with their places (one query)."""
    duties = [points.duty_of(place) for place in range(len(points))]
    wanted = list(zip(points.id.tolist(), points.site.tolist(), duties, strict=True))
    groups: dict[int, tuple[Policy, list[int]]] = {}
    for place, policy in enumerate(Policy.objects.holding(wanted)):
        groups.setdefault(id(policy), (policy, []))[1].append(place)
    return [(policy, np.array(places)) for policy, places in groups.values()]


def make(
    points: Points,
    results: Results,
    policies: Policies,
    choices: list[Choice],
    *,
    at: dt.datetime,
) -> int:
    """Offer new intervals to these points and take back what no longer holds; returns how many are
    new.
    """
    offers = [choice.offers for choice in choices]
    for policy, places in policies:
        if policy.method == Policy.Method.STAIRCASE:
            offers.append(Offers.of(_by_staircase(places.tolist(), points, policy, results)))
        elif policy.method == Policy.Method.RELIABILITY:
            offers.append(Offers.of(_by_reliability(places.tolist(), points, policy)))
    every = Offers.joined(offers or [Offers.of([])])
    proposals.withdraw(np.setdiff1d(points.id, every.point_id))
    return proposals.offer(every, at=at, reasons_of=lambda some: _reasons(some, choices)).made


# ---- by drift ----
@dataclass(frozen=True)
class Choice:
    """What one policy chose; columns: of each offer, in ``proposed`` and ``outlook``; ends: 0 for
    zero, 1 for span. whole: where the whole verdict decided, not an end alone.
    """

    offers: Offers
    proposed: Proposals
    outlook: Outlook
    tolerance: np.ndarray
    columns: np.ndarray
    ends: np.ndarray
    whole: np.ndarray


def by_drift(points: Points, policies: Policies, judgement: Judgement) -> list[Choice]:
    """What the policies that go by drift choose; arithmetic alone."""
    return [
        choice
        for policy, places in policies
        if policy.method == Policy.Method.DRIFT
        for choice in _by_drift(places, points, policy, judgement)
    ]


def _by_drift(
    places: np.ndarray, points: Points, policy: Policy, judgement: Judgement
) -> list[Choice]:
    """One choice, or none where no end of these points has a date."""
    histories = judgement.histories
    columns = histories.column[:, places]
    used = np.unique(columns[(columns >= 0) & judgement.forecast.dated[columns]])
    if not used.size:
        return []
    whose = histories.place[used]
    whole = judgement.outlook
    outlook = whole if used.size == len(whole) else whole.columns(used)
    tolerance, u = histories.tolerance[used], histories.u_next[used]
    now = points.months[whose]
    by_ends = _proposed(outlook, tolerance, u, now, policy)
    proposed, cut = _with_verdicts(by_ends, whose, policy, judgement.verdicts)
    at_now = as_found_probability(outlook, now / 12, tolerance, u)
    months = np.floor(proposed.years * 12 + 1e-6).astype(int)
    months = np.clip(months, policy.shortest_months, policy.longest_months)
    # The shorter of a point's two ends decides, and comes first.
    order = np.lexsort((proposed.as_found, months, whose))
    starts = np.flatnonzero(np.r_[True, np.diff(whose[order]) > 0])
    first = order[starts]
    place = whose[first]
    at_now = np.minimum.reduceat(at_now[order], starts)
    _set_chances(at_now, proposed, first, place, now[first], judgement.verdicts)
    offers = Offers(
        points.id[place],
        points.site[place],
        np.full(len(place), policy.method),
        now[first],
        _worthwhile(now[first], months[first]),
        at_now,
        proposed.as_found[first],
        np.empty(len(place), dtype=object),
    )
    ends = histories.end[used][first]
    return [Choice(offers, proposed, outlook, tolerance, first, ends, cut[first])]


def _with_verdicts(
    by_ends: Proposals, whose: np.ndarray, policy: Policy, verdicts: Verdicts | None
) -> tuple[Proposals, np.ndarray]:
    """The same, shortened where the chance of passing falls below the target sooner than an end
    does; and where it was. whose: place of each column's point.
    """
    if verdicts is None:
        return by_ends, np.zeros(len(whose), dtype=bool)
    here = np.flatnonzero(np.isin(verdicts.place, whose))
    some = verdicts.some(here)
    columns = np.flatnonzero(np.isin(whose, some.place))
    found = some.first_below(by_ends.target, by_ends.lower, by_ends.upper)
    of = np.searchsorted(some.place, whose[columns])
    return shortened(by_ends, columns, Longest(*(part[of] for part in found)))


def _set_chances(
    at_now: np.ndarray,
    proposed: Proposals,
    columns: np.ndarray,
    place: np.ndarray,
    months: np.ndarray,
    verdicts: Verdicts | None,
) -> None:
    """Put the chance of passing in place of what an end alone says, at the present interval and at
    the proposed one, where it is known; columns, place: of each offer.
    """
    if verdicts is None:
        return
    offers = np.flatnonzero(np.isin(place, verdicts.place))
    some = verdicts.some(np.searchsorted(verdicts.place, place[offers]))
    at_now[offers] = some.of.chance(months[offers] / 12)
    proposed.as_found[columns[offers]] = some.of.chance(proposed.years[columns[offers]])


def _proposed(
    outlook: Outlook, tolerance: np.ndarray, u: np.ndarray, now: np.ndarray, policy: Policy
) -> Proposals:
    return propose(
        outlook,
        tolerance,
        u,
        current=now / 12,
        target=float(policy.target_percent) / 100,
        lower=policy.shortest_months / 12,
        upper=policy.longest_months / 12,
        lengthen=float(policy.lengthen),
    )


def _reasons(rows: Offers, choices: list[Choice]) -> list[list[dict[str, Any]]]:
    """Of those chosen by drift all at once; the others bring their own."""
    by_point: dict[int, list[dict[str, Any]]] = {}
    for choice in choices:
        numbers = np.flatnonzero(np.isin(choice.offers.point_id, rows.point_id))
        if numbers.size:
            by_point |= _reasons_of(choice, numbers)
    own = zip(rows.point_id.tolist(), rows.reasons.tolist(), strict=True)
    return [by_point.get(pk, reasons) for pk, reasons in own]


def _reasons_of(choice: Choice, numbers: np.ndarray) -> dict[int, list[dict[str, Any]]]:
    parts = reasons(choice.proposed, choice.outlook, choice.tolerance, choice.columns[numbers])
    ids = choice.offers.point_id[numbers].tolist()
    ends, whole = choice.ends[numbers].tolist(), choice.whole[numbers].tolist()
    return {
        pk: [
            {"says": "end", "end": ENDS[end]},
            *([{"says": "every reading"}] if cut else []),
            *({"says": part.says, **part.numbers} for part in some),
        ]
        for pk, end, cut, some in zip(ids, ends, whole, parts, strict=True)
    }


# ---- by staircase ----
def _by_staircase(
    places: list[int], points: Points, policy: Policy, results: Results
) -> list[Offer]:
    """One stair for each result: longer where it was in tolerance, shorter where it was out."""
    changed = _changed_since_last_result(points.id[places].tolist())
    last = dict(
        zip(np.searchsorted(points.id, results.point).tolist(), range(len(results)), strict=True)
    )
    offers = []
    for place in places:
        point, row = points[place], last.get(place)
        if row is None or point.point_id in changed or np.isnan(results.found[:, row]).all():
            continue
        offers.append(_stair(point, policy, found_in=not results.found_out[row]))
    return offers


def _stair(point: PointRow, policy: Policy, *, found_in: bool) -> Offer:
    longer, shorter = (
        float(share) / 100 for share in (policy.stair_longer_percent, policy.stair_shorter_percent)
    )
    wanted = staircase(point.interval_months, found_in, longer=longer, shorter=shorter)
    months = int(np.clip(round(wanted), policy.shortest_months, policy.longest_months))
    share = longer if found_in else shorter
    reason = {"says": "staircase in" if found_in else "staircase out", "percent": 100 * share}
    return Offer(
        point.point_id,
        point.site_id,
        policy.method,
        point.interval_months,
        months,
        None,
        None,
        [reason],
    )


def _changed_since_last_result(point_ids: Iterable[int]) -> set[int]:
    """Points whose interval was accepted by a proposal since their last result came in."""
    accepted = Proposal.objects.filter(point__in=list(point_ids), state=Proposal.State.ACCEPTED)
    decided: dict[int, dt.datetime] = {}
    for pk, when in accepted.values_list("point_id", "decided_at"):
        if when is not None:
            decided[pk] = max(when, decided.get(pk, when))
    later = Calibration.objects.standing().filter(point__in=list(decided))
    fresh = {
        pk
        for pk, approved in later.values_list("point_id", "approved_at")
        if approved is not None and approved > decided[pk]
    }
    return set(decided) - fresh


# ---- by the family's reliability ----
def _by_reliability(places: list[int], points: Points, policy: Policy) -> list[Offer]:
    """The time until the family's share in tolerance falls to the target; by its limit where no
    curve can be drawn.
    """
    by_family: dict[int | None, list[PointRow]] = defaultdict(list)
    for place in places:
        by_family[points[place].family_id].append(points[place])
    target = float(policy.target_percent) / 100
    offers = []
    for family in Family.objects.filter(pk__in=[pk for pk in by_family if pk]):
        reliability = reliability_of(family, target)
        months = _months_of(reliability)
        if months is not None:
            for point in by_family[family.pk]:
                offers.append(_offer_by(reliability, months, point, policy))
    return offers


def _months_of(reliability: Reliability) -> float | None:
    return reliability.months if reliability.fit is not None else reliability.months_limit


def _offer_by(reliability: Reliability, months: float, point: PointRow, policy: Policy) -> Offer:
    now, fit = point.interval_months, reliability.fit
    wanted = min(months, now * float(policy.lengthen), policy.longest_months)
    wanted = max(int(wanted + 1e-6), policy.shortest_months)
    reason = {
        "says": "reliability",
        "results": reliability.results,
        "out": reliability.failures,
        "instruments": reliability.instruments,
        "target": reliability.target,
        "months": months,
        "curve": reliability.curve if fit is not None else "",
        "by": "estimate" if fit is not None else "limit",
        "design_effect": reliability.design_effect,
    }
    return Offer(
        point.point_id,
        point.site_id,
        policy.method,
        now,
        int(_worthwhile(np.array(now), np.array(wanted))),
        None if fit is None else float(fit.reliability(now / 12)),
        None if fit is None else float(fit.reliability(wanted / 12)),
        [reason],
    )


def _worthwhile(now: np.ndarray, months: np.ndarray) -> np.ndarray:
    """The interval wanted, or the present one where the difference is not worth a decision."""
    return np.where(np.abs(months - now) >= np.maximum(1, WORTH * now), months, now)
