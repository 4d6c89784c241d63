"""Records: the list, one record, and its approval or return."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, Q, QuerySet
from django.db.models.functions import JSONObject
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.charts import error_curve
from calibration.forms.records import ApprovalForm, RecordFilter, ReturnForm
from calibration.models import Calibration, FieldPhoto, Reading
from calibration.operations import records as acts
from calibration.operations.schedule import schedule_after
from calibration.views.doubt import doubt_of, figure_rows, guard_of, hints_of, units_of
from calibration.views.jobs import require_sight
from calibration.views.set_aside import clock_told, placed
from calibration.views.unusual import unusual
from plant.level.signals import SIGNALS
from plant.models import MeasuringPoint, Person
from plant.permissions import may, require
from plant.refusals import Refused
from plant.requests import SignedRequest
from plant.templatetags.quantities import day_text

ROWS = 50
LISTED = (
    "site_id", "tag", "tank_name", "serial", "done_on", "performed_by_name", "state", "adjusted", "amends_id",
    "found_verdict", "left_verdict", "found_errors", "left_errors", "tolerance_percent", "performed_by_id",
)  # fmt: skip
WITH_ALL = (
    "site", "point__tank", "transmitter", "job", "procedure_version__procedure", "amends", "finding", "returned_by",
    "field_work",
)  # fmt: skip


@require_safe
def record_list(request: SignedRequest) -> HttpResponse:
    """Records newest first, 50 a page; what waits for approval is one press away."""
    require_sight(request.user)
    seen = Calibration.objects.seen_by(request.user)
    filter_form = RecordFilter(request.GET, person=request.user)
    found = _after(filter_form.narrow(seen), request.GET.get("after", "")).only(*LISTED)
    rows = list(found.order_by("-done_on", "-id")[: ROWS + 1])
    return render(
        request,
        "calibration/record_list.html",
        {
            "filter": filter_form,
            "rows": rows[:ROWS],
            "older": _with(request.GET, after=_place(rows[ROWS - 1])) if len(rows) > ROWS else "",
            "newest": _with(request.GET, after="") if request.GET.get("after") else "",
            "waiting": seen.waiting().count(),
            "approves_at": request.user.site_ids("approve"),
        },
    )


@require_safe
def record(request: SignedRequest, pk: int) -> HttpResponse:
    """A record as it stands for ever: readings, figures, standards, signatures."""
    record = _record(request, pk)
    facts = _facts(record) | {
        "may_approve": may(request.user, "approve", record.site_id) and record.state == "submitted",
        "may_amend": may(request.user, "amend", record.site_id) and record.state == "approved",
        "is_own": record.performed_by_id == request.user.pk,
    }
    if record.state == "submitted":
        facts |= {"approvers": _approvers(record), "next_due": _due_after(record)}
    return render(request, "calibration/record.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: SignedRequest, pk: int) -> HttpResponse:
    """Read what is unusual, then sign exactly what was shown."""
    record = _record(request, pk)
    require(request.user, "approve", record.site_id)
    if request.method != "POST" and record.state != "submitted":
        messages.info(
            request, f"This record is {record.get_state_display()}: there is nothing to decide."
        )
        return redirect(record)
    form = ApprovalForm(request.POST) if request.method == "POST" else None
    if form and form.is_valid():
        try:
            signed = acts.approve(record, **form.cleaned_data, by=request.user, at=timezone.now())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            _tell_approved(request, signed)
            return redirect(record)
    return _decide(request, record, approval=form)


@require_POST
def send_back(request: SignedRequest, pk: int) -> HttpResponse:
    """Return the record to its performer, with the reason."""
    record = _record(request, pk)
    require(request.user, "approve", record.site_id)
    form = ReturnForm(request.POST)
    if form.is_valid():
        try:
            acts.send_back(
                record, reason=form.cleaned_data["reason"], by=request.user, at=timezone.now()
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, f"Record {pk} went back to {record.performed_by_name} with your reason."
            )
            return redirect("calibration:records")
    return _decide(request, record, back=form)


def _decide(
    request: SignedRequest,
    record: Calibration,
    *,
    approval: ApprovalForm | None = None,
    back: ReturnForm | None = None,
) -> HttpResponse:
    refused = bool(approval or back)
    taken = record.state != "submitted" or bool(
        refused and not Calibration.objects.waiting().filter(pk=record.pk).exists()
    )
    facts = _facts(record) | {
        "approval": approval or ApprovalForm(initial={"content_sha256": record.content_sha256}),
        "back": back or ReturnForm(),
        "is_own": record.performed_by_id == request.user.pk,
        "taken": taken,
        "next_due": _due_after(record),
    }
    facts["unusual"] = unusual(record, facts["readings"], facts["uses"])
    status = 409 if taken else 422 if refused else 200
    return render(request, "calibration/approve.html", facts, status=status)


def _tell_approved(request: SignedRequest, record: Calibration) -> None:
    messages.success(
        request,
        f"Record {record.pk} is approved. {record.tag} is next due on {day_text(record.point.due_on)}.",
    )
    if record.found_verdict == "fail" and not record.amends_id:
        messages.warning(
            request, "As found was out of tolerance, so a finding is open. It needs an assessment."
        )


def _record(request: SignedRequest, pk: int) -> Calibration:
    photos = FieldPhoto.objects.filter(work__record=OuterRef("pk")).order_by("step", "pk")
    known = Calibration.objects.seen_by(request.user).select_related(*WITH_ALL)
    told = JSONObject(step="step", sha256="sha256")
    return get_object_or_404(
        known.annotate(photos_told=ArraySubquery(photos.values(told=told))), pk=pk
    )


def _facts(record: Calibration) -> dict[str, Any]:
    """What every page about one record shows; each part read once."""
    readings = sorted(record.readings.all(), key=_place_in_work)
    stages = [(name, list(rows)) for name, rows in groupby(readings, key=lambda r: r.stage)]
    return {
        "record": record,
        "readings": readings,
        "stages": stages,
        "has_indication": any(r.observed_indication is not None for r in readings),
        "signal": MeasuringPoint.OutputSignal(record.signal).label,
        "signal_unit": SIGNALS[record.signal].unit,
        "curve": _curve(record, readings),
        "adjustments": list(record.adjustments.all()),
        "uses": list(record.standards_used.select_related("standard", "certificate")),
        "amendments": list(record.amendments.order_by("id")),
        "doubt": doubt_of(record),
        "figure_rows": figure_rows(record, readings),
        "units": units_of(record),
        "hints": hints_of(record, readings),
    } | _taken_in_the_plant(record)


def _taken_in_the_plant(record: Calibration) -> dict[str, Any]:
    """What only a record from a tablet has: its steps as taken, its photos, its clock."""
    if record.source != Calibration.Source.TABLET:
        return {}
    work = record.field_work
    by_step: dict[int, list[FieldPhoto]] = {}
    photos = [FieldPhoto(**told) for told in record.photos_told]  # type: ignore[attr-defined]
    for photo in placed(work, photos):
        by_step.setdefault(photo.step, []).append(photo)
    steps = list(record.steps_taken.all())
    for step in steps:
        step.photos = by_step.pop(step.number, [])  # type: ignore[attr-defined]
    return {
        "steps_taken": steps,
        "work": work,
        "clock": clock_told(work),
        "other_photos": [photo for rest in by_step.values() for photo in rest],
    }


def _place_in_work(reading: Reading) -> tuple[int, int, int]:
    return Reading.Stage.values.index(reading.stage), reading.run, reading.sequence


def _curve(record: Calibration, readings: list[Reading]) -> dict[str, Any] | None:
    def of(stage: str, rising: bool) -> list[tuple[float, float]]:
        chosen = [
            r
            for r in readings
            if r.stage == stage and r.rising == rising and "failure" not in r.band
        ]
        return [(_share(record, r), r.error_percent) for r in chosen]

    runs = {
        f"{name}_{word}": of(stage, rising)
        for name, stage in (("found", "as found"), ("left", "as left"))
        for word, rising in (("up", True), ("down", False))
    }
    if not any(runs.values()):
        return None
    return error_curve(**runs, tolerance=record.tolerance_percent, guard=guard_of(record))


def _share(record: Calibration, reading: Reading) -> float:
    """Applied value in % of span."""
    return float(100 * (reading.applied - record.lower) / (record.upper - record.lower))


def _approvers(record: Calibration) -> list[Person]:
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


def _due_after(record: Calibration) -> dt.date | None:
    """The due date that an approval would give; an amendment takes the place of the record it amends."""
    standing = Calibration.objects.standing().filter(point=record.point_id)
    standing = standing.exclude(pk=record.amends_id or 0)
    days = [*standing.values_list("done_on", flat=True), record.done_on]
    point = record.point
    schedule = schedule_after(
        days, interval_months=point.interval_months, grace_days=point.grace_days
    )
    return schedule.due_on if schedule else None


# ---- one page after another, by the place of the last row: no counting, no skipping ----
def _place(record: Calibration) -> str:
    return f"{record.done_on.isoformat()}.{record.pk}"


def _after(records: QuerySet[Calibration], place: str) -> QuerySet[Calibration]:
    day, _, pk = place.partition(".")
    try:
        on, number = dt.date.fromisoformat(day), int(pk)
    except ValueError:
        return records
    return records.filter(Q(done_on__lt=on) | Q(done_on=on, pk__lt=number))


def _with(query: QueryDict, **changes: str) -> str:
    """The page's own address with some of its words changed."""
    changed = query.copy()
    for name, value in changes.items():
        changed.pop(name, None)
        if value:
            changed[name] = value
    return f"?{changed.urlencode()}"
