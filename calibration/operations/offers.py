"""The interval that each point's policy would choose, offered to the planner with its numbers.

A point is in tolerance while both ends are: the end that leaves sooner decides, and is named.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from calibration.metrology.intervals import Proposals, propose, reasons, staircase
from calibration.metrology.wander import Outlook
from calibration.models import Calibration, Policy, Proposal
from calibration.operations import proposals
from calibration.operations.proposals import Offer
from calibration.operations.results import PointFacts, Results
from calibration.operations.told import ENDS, Told
from calibration.operations.trends import Judged

# A change by less than this share is not worth a planner's time.
WORTH = 0.1


def make(
    points: list[PointFacts], results: Results, told: Told, judged: Judged, *, at: dt.datetime
) -> int:
    """Offer new intervals to these points and take back what no longer holds; returns how many are new."""
    policies = policies_of(points)
    by_method = defaultdict(list)
    for place, policy in enumerate(policies):
        by_method[policy.method].append(place)
    offers = [
        *_by_drift(by_method[Policy.Method.DRIFT], points, policies, judged),
        *_by_staircase(by_method[Policy.Method.STAIRCASE], points, policies, results),
    ]
    silent = {point.point_id for point in points} - {offer.point_id for offer in offers}
    proposals.withdraw(silent)
    return proposals.offer(offers, at=at).made


def policies_of(points: list[PointFacts]) -> list[Policy]:
    """The policy that holds for each point (one query); equal ones are one object."""
    rows = Policy.objects.filter(site__in={point.site_id for point in points})
    own = {row.point_id: row for row in rows if row.point_id}
    duty = {(row.site_id, row.duty): row for row in rows if not row.point_id}
    default = Policy()
    return [
        own.get(point.point_id) or duty.get((point.site_id, point.duty)) or default
        for point in points
    ]


def worthwhile(now: int, months: int) -> int:
    """The proposed interval, or the present one where the difference is not worth a decision."""
    return months if abs(months - now) >= max(1, WORTH * now) else now


# ---- by drift ----
def _by_drift(
    places: list[int], points: list[PointFacts], policies: list[Policy], judged: Judged
) -> list[Offer]:
    groups = defaultdict(list)
    for place in places:
        groups[id(policies[place])].append(place)
    return [
        offer
        for some in groups.values()
        for offer in _under_one_policy(some, points, policies[some[0]], judged)
    ]


def _under_one_policy(
    places: list[int], points: list[PointFacts], policy: Policy, judged: Judged
) -> list[Offer]:
    told = judged.told
    columns = told.column[:, places]
    dated = (columns >= 0) & judged.forecast.dated[columns]
    used = np.unique(columns[dated])
    if not used.size:
        return []
    of, tolerance, u = judged.of.columns(used), told.tolerance[used], told.u_next[used]
    now = np.array([points[p].interval_months for p in told.place[used]])
    lower, upper = policy.shortest_months / 12, policy.longest_months / 12
    proposed = propose(
        of, tolerance, u, current=now / 12, target=float(policy.target_percent) / 100,
        lower=lower, upper=upper, lengthen=float(policy.lengthen),
    )  # fmt: skip
    at_now = of.probability_in(now / 12, tolerance, u)
    months = np.floor(proposed.years * 12 + 1e-6).astype(int)
    months = np.clip(months, policy.shortest_months, policy.longest_months)
    # In order of the instrument: the shorter of a point's two ends comes first.
    order = np.lexsort((proposed.as_found, months, told.place[used]))
    whose = told.place[used][order]
    starts = np.flatnonzero(np.r_[True, whose[1:] != whose[:-1]])
    lowest_now = np.minimum.reduceat(at_now[order], starts)
    offers = []
    for n, column in enumerate(order[starts].tolist()):
        point = points[told.place[used[column]]]
        wanted = worthwhile(int(now[column]), int(months[column]))
        said = (
            []
            if wanted == now[column]
            else _told(proposed, of, tolerance, column, told.end[used[column]])
        )
        offers.append(
            Offer(
                point.point_id, point.site_id, policy.method, int(now[column]), wanted,
                float(lowest_now[n]), float(proposed.as_found[column]), said,
            )
        )  # fmt: skip
    return offers


def _told(
    proposed: Proposals, of: Outlook, tolerance: np.ndarray, column: int, end: int
) -> list[dict]:
    parts = reasons(proposed, of, tolerance, column)
    return [
        {"says": "end", "end": ENDS[end]},
        *({"says": part.says, **part.numbers} for part in parts),
    ]


# ---- by staircase ----
def _by_staircase(
    places: list[int], points: list[PointFacts], policies: list[Policy], results: Results
) -> list[Offer]:
    """One step for each result: longer where it was found in tolerance, shorter where it was out."""
    stepped = _stepped_already(points[place].point_id for place in places)
    numbers = np.array([point.point_id for point in points])
    last = dict(
        zip(np.searchsorted(numbers, results.point).tolist(), range(len(results)), strict=True)
    )
    offers = []
    for place in places:
        point, policy, row = points[place], policies[place], last.get(place)
        if row is None or point.point_id in stepped or np.isnan(results.found[:, row]).all():
            continue
        found_in = not bool(results.found_out[row])
        longer, shorter = (
            float(share) / 100
            for share in (policy.stair_longer_percent, policy.stair_shorter_percent)
        )
        years = staircase(point.interval_months, found_in, longer=longer, shorter=shorter)
        months = int(np.clip(round(years), policy.shortest_months, policy.longest_months))
        share = longer if found_in else shorter
        said = {"says": "staircase in" if found_in else "staircase out", "percent": 100 * share}
        offers.append(
            Offer(
                point.point_id, point.site_id, policy.method, point.interval_months, months, None, None, [said]
            )
        )  # fmt: skip
    return offers


def _stepped_already(point_ids: Iterable[int]) -> set[int]:
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
