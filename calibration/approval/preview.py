"""What an approval would do: who may approve, and the due date that follows."""

from __future__ import annotations

import datetime as dt

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, Q
from django.utils import timezone

from calibration.intervals.due_dates import schedule_with
from calibration.records.models import Calibration
from calibration.status.results import CurrentRecord
from plant.people.models import Person
from plant.transmitters.models import Installation


def approvers_of(record: Calibration) -> list[Person]:
    """Who may approve the record today: everybody with the role at its site but its performer."""
    today = record.site.day_of(timezone.now())
    at_site = Q(
        appointments__site=record.site_id,
        appointments__role="approver",
        appointments__starts_on__lte=today,
    )
    in_force = Q(appointments__ends_on=None) | Q(appointments__ends_on__gte=today)
    people = Person.objects.filter(at_site & in_force, is_active=True).exclude(
        pk=record.performed_by_id or 0
    )
    return list(people.distinct())


def due_after(record: Calibration) -> dt.date | None:
    """The due date that an approval would give, the present one where it moves none; an amendment
    takes the place of the record it amends.
    """
    done = CurrentRecord.objects.parts().filter(point=OuterRef("point"))
    packed = ArraySubquery(done.exclude(record=record.amends_id or 0).packed())
    here = Installation.objects.filter(point=record.point_id, removed_on=None)
    rows = here.annotate(done=packed).values_list("transmitter_id", "done")
    for transmitter, parts in rows:  # one at most
        schedule = schedule_with(record, parts, present=[transmitter])
        if schedule:
            return schedule.due_on
    return record.point.due_on
