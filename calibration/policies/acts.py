"""How results are judged and intervals chosen: set for a duty at a site or for one point, by an
approver only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from calibration.policies.models import Policy
from calibration.policies.refusals import NoOwnPolicy, NoReason, NothingChanged, UnknownDuty
from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.points.models import MeasuringPoint
from plant.saving import Stale, check, mark_of, put
from plant.sites.models import Site

JUDGED_BY = ("rule", "guard_share", "risk_percent", "least_tur")
CHOSEN_BY = (
    "method",
    "target_percent",
    "shortest_months",
    "longest_months",
    "lengthen",
    "stair_longer_percent",
    "stair_shorter_percent",
)
RELIED_ON_BY = ("least_chance_percent", "parts_within_days")
POLICY_FIELDS = (*JUDGED_BY, *CHOSEN_BY, *RELIED_ON_BY)


@transaction.atomic
def set_for_duty(
    site: Site, duty: str, values: Mapping[str, Any], *, seen: str, why: str, by: Person
) -> Policy:
    """Change some of POLICY_FIELDS for all points of this duty that have no policy of their own.

    ``seen``: the mark (saving.mark_of) of what held when it was decided. Records keep the rule they
    were judged by; intervals move only when a proposal is accepted.
    """
    require(by, "change policy", site.pk)
    # The site is locked, not the policy: at first there is no row.
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    if duty not in MeasuringPoint.Duty.values:
        raise UnknownDuty(duty)
    held = Policy.objects.filter(site=site, duty=duty, point=None).first()
    held = held or Policy(site=site, duty=duty)
    changed = _store(held, values, seen=seen, why=why)
    if not changed:
        raise NothingChanged
    enter("change policy", on=held, by=by, why=why, details=changed)
    return held


@transaction.atomic
def set_for_point(
    point: MeasuringPoint, values: Mapping[str, Any], *, seen: str, why: str, by: Person
) -> Policy:
    """Give one point a policy of its own, or change it. What is not in ``values`` stays as its duty
    has it.
    """
    require(by, "change policy", point.site_id)
    point = MeasuringPoint.objects.select_for_update(no_key=True).get(pk=point.pk)
    held = Policy.objects.of_point(point)
    is_new = held.point_id is None
    if is_new:
        held = Policy(
            site_id=point.site_id,
            point=point,
            **{name: getattr(held, name) for name in POLICY_FIELDS},
        )
    changed = _store(held, values, seen=seen, why=why)
    if not changed and not is_new:
        raise NothingChanged
    if is_new:
        changed["holds"] = [f"as for {point.duty} duty", "its own"]
    enter("change policy", on=point, by=by, why=why, details=changed)
    return held


@transaction.atomic
def drop_for_point(point: MeasuringPoint, *, why: str, by: Person) -> Policy:
    """Take a point's own policy away; returns its duty's, which holds from now on."""
    require(by, "change policy", point.site_id)
    point = MeasuringPoint.objects.select_for_update(no_key=True).get(pk=point.pk)
    own = Policy.objects.filter(point=point).first()
    if own is None:
        raise NoOwnPolicy(point)
    _need_reason(why)
    own.delete()
    holds = Policy.objects.of_point(point)
    changed = put(holds, own, POLICY_FIELDS)
    changed["holds"] = ["its own", f"as for {point.duty} duty"]
    enter("change policy", on=point, by=by, why=why, details=changed)
    return holds


def _store(held: Policy, values: Mapping[str, Any], *, seen: str, why: str) -> dict[str, list[str]]:
    """Put ``values`` onto the row and save it; returns what changed, as the ledger keeps it."""
    if seen != mark_of(held, POLICY_FIELDS):
        raise Stale(held)
    _need_reason(why)
    names = [name for name in POLICY_FIELDS if name in values]
    changed = put(Policy(**{name: values[name] for name in names}), held, names)
    check(held)
    held.save()
    return changed


def _need_reason(why: str) -> None:
    if not why.strip():
        raise NoReason
