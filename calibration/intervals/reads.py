"""Proposals as lists and pages show them: both intervals, both due dates, what accepting would do.
Three queries.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import F, QuerySet

from calibration.intervals.acts import grace_within, outcome
from calibration.intervals.due_dates import schedule_after
from calibration.intervals.limits import Limit, limit_of
from calibration.intervals.models import Proposal
from calibration.intervals.reasons import worded
from calibration.policies.models import Policy
from calibration.status.results import CompleteResult
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.points.status import Status
from plant.refusals import Refused

NEWEST = ("-made_at",)
WAYS = {"longer": "longer", "shorter": "shorter"}


def waiting(
    site_ids: Iterable[int], *, way: str = "", agreed_only: bool = False
) -> list[QuerySet[Proposal]]:
    """What waits, a part a site so that each walks its own index. way: longer, shorter or "" for
    both.
    """
    states = [Proposal.State.AGREED] if agreed_only else list(Proposal.WAITING)
    rows = Proposal.objects.filter(state__in=states)
    if way in WAYS:
        beyond = "months__gt" if way == "longer" else "months__lt"
        rows = rows.filter(**{beyond: F("months_now")})
    return [rows.filter(site=site) for site in site_ids]


@dataclass(frozen=True, slots=True)
class ProposalRow:
    """becomes: what accepting by the reader makes of it, "" where it is refused, and then
    ``refusal`` says why.
    """

    proposal: Proposal
    point: MeasuringPoint
    due_after: dt.date
    today: dt.date
    becomes: str
    refusal: str

    @property
    def pk(self) -> int:
        return self.proposal.pk

    @property
    def limit(self) -> Limit:
        return limit_of(self.proposal.reasons, months=self.proposal.months)

    @property
    def reasons(self) -> list[str]:
        return worded(self.proposal.reasons)

    @property
    def is_due_at_once(self) -> bool:
        """The proposed interval has run already, and the present one has not."""
        return self.due_after <= self.today < self.point.due_on

    @property
    def status(self) -> Status:
        return self.point.status(self.today)

    @property
    def grace_after(self) -> int:
        return grace_within(self.proposal.months, self.point.grace_days)


KNOWN = ("site", "point__site", "point__tank__product", "agreed_by", "decided_by")


def rows_of(ids: Sequence[int], *, by: Person, at: dt.datetime) -> list[ProposalRow]:
    """The rows of one page in the order of ``ids``, as ``by`` may decide on them at the moment
    ``at``.
    """
    known = Proposal.objects.select_related(*KNOWN).in_bulk(list(ids))
    return rows_with([known[pk] for pk in ids if pk in known], by=by, at=at)


def rows_with(proposals: Collection[Proposal], *, by: Person, at: dt.datetime) -> list[ProposalRow]:
    points = [one.point for one in proposals]
    policies = Policy.objects.of_points(points)
    days = _days_calibrated(point.pk for point in points)
    return [
        ProposalRow(
            proposal=one,
            point=one.point,
            due_after=_due_after(one.point, one.months, days[one.point_id]),
            today=one.site.day_of(at),
            **_outcome(one, policies[one.point_id], by, on=one.site.day_of(at)),
        )
        for one in proposals
    ]


def _days_calibrated(point_ids: Iterable[int]) -> dict[int, list[dt.date]]:
    days: dict[int, list[dt.date]] = defaultdict(list)
    results = CompleteResult.objects.filter(point_id__in=list(point_ids))
    for point_id, day in results.values_list("point_id", "counts_from"):
        days[point_id].append(day)
    return days


def _due_after(point: MeasuringPoint, months: int, days: Iterable[dt.date]) -> dt.date:
    """The due date of that interval; without a calibration it stays where it is."""
    grace = grace_within(months, point.grace_days)
    schedule = schedule_after(days, interval_months=months, grace_days=grace)
    return schedule.due_on if schedule else point.due_on


def due_after(point: MeasuringPoint, months: int) -> dt.date:
    """When the point would be due if its interval were so many months."""
    return _due_after(point, months, _days_calibrated([point.pk])[point.pk])


def _outcome(proposal: Proposal, policy: Policy, by: Person, *, on: dt.date) -> dict[str, str]:
    if proposal.state not in Proposal.WAITING:
        return {"becomes": "", "refusal": ""}
    try:
        becomes = outcome(proposal, proposal.point, policy, by=by, on=on)
        return {"becomes": becomes.value, "refusal": ""}
    except Refused as refusal:
        return {"becomes": "", "refusal": str(refusal)}
