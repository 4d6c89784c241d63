"""Sites and areas: added and changed, never deleted: what belongs to them must stay traceable."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from plant.ledger.writer import enter
from plant.people.models import Appointment, Person
from plant.people.permissions import require
from plant.people.roles import Role
from plant.refusals import NotAllowed
from plant.saving import check, constraint_messages, locked, put
from plant.sites.models import Area, Site

PLANNED = ("crew_hours", "digest_at")
"""What a planner sets at a site; the rest is an administrator's."""

ADMINISTERED = ("name", "time_zone")


@transaction.atomic
def add_site(site: Site, *, by: Person, on: dt.date) -> Site:
    """Add a site. An administrator of any site may; he administers the new one from the day
    ``on``.
    """
    if not by.is_active or Role.ADMINISTRATOR not in by.roles:
        raise NotAllowed("Only an administrator may add a site.")
    check(site)
    with constraint_messages():
        site.save()
    Appointment.objects.create(person=by, site=site, role=Role.ADMINISTRATOR, starts_on=on)
    enter(
        "add site", on=site, by=by, details={"time zone": site.time_zone, "administrator": by.name}
    )
    return site


@transaction.atomic
def change_site(site: Site, *, fields: Sequence[str], seen: str, by: Person) -> Site:
    """Store ``fields`` of the site: PLANNED need a planner there, ADMINISTERED an administrator."""
    for group, act in ((PLANNED, "plan"), (ADMINISTERED, "manage people")):
        if set(fields) & set(group):
            require(by, act, site.pk)
    stored = locked(site, seen=seen, fields=fields)
    changed = put(site, stored, fields)
    check(stored)
    with constraint_messages():
        stored.save(update_fields=fields)
    enter("change site", on=stored, by=by, details=changed)
    return stored


@transaction.atomic
def rename_area(area: Area, *, seen: str, by: Person) -> Area:
    require(by, "edit register", area.site_id)
    stored = locked(area, seen=seen, fields=["name"])
    changed = put(area, stored, ["name"])
    check(stored)
    with constraint_messages():
        stored.save(update_fields=["name"])
    enter("rename area", on=stored, by=by, details=changed)
    return stored
