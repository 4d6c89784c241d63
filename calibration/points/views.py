"""One measuring point, one transmitter: what they are, how they drift, their results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.drift.pages import drift_context
from calibration.intervals.models import Proposal
from calibration.procedures.models import Procedure
from calibration.records.models import Calibration
from plant.pages.requests import SignedRequest
from plant.people.models import Person
from plant.people.permissions import may
from plant.points.columns import POINT
from plant.points.models import MeasuringPoint
from plant.product_changes.acts import contents_text
from plant.refusals import Refused
from plant.tanks.geometry import geometry_of
from plant.transmitters.columns import TRANSMITTER
from plant.transmitters.models import Installation, Transmitter
from plant.transmitters.probe import CAPACITANCE, Lacking, probe_figures

SHOWN = 12
STRIP = (
    "site_id",
    "tag",
    "serial",
    "done_on",
    "performed_by_name",
    "approved_by_name",
    "state",
    "adjusted",
    "amends_id",
    "found_verdict",
    "left_verdict",
    "found_errors",
    "left_errors",
    "found_largest",
    "tolerance_percent",
)


@require_safe
def point(request: SignedRequest, pk: int) -> HttpResponse:
    """State, range, drift and results of a measuring point."""
    points = MeasuringPoint.objects.seen_by(request.user)
    point = get_object_or_404(points.select_related("site", "tank__area", "tank__product"), pk=pk)
    installations = list(
        Installation.objects.filter(point=point).select_related("transmitter")[:SHOWN]
    )
    present = next((row for row in installations if row.removed_on is None), None)
    today = point.site.day_of(timezone.now())
    context = {
        "point": point,
        "lines": POINT.lines(point),
        "state": point.state(today),
        "run": point.interval_run(today),
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(point=point).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        "procedure": Procedure.objects.filter(key=point.procedure_key).first(),
        "limits": limits_of(point),
        **_open_matters(point),
        **drift_context(point, end=request.GET.get("of", ""), today=today),
        **_acts(request.user, point.site_id),
    }
    return render(request, "calibration/points/point.html", context)


def _open_matters(point: MeasuringPoint) -> dict[str, Any]:
    """What waits for somebody at this point, and its latest jobs and deferrals."""
    return {
        "jobs": list(point.jobs.select_related("technician", "round").order_by("-id")[:10]),
        "deferrals": list(point.deferrals.select_related("asked_by", "decided_by")[:10]),
        "finding": point.findings.filter(closed_at=None).first(),
        "proposal": Proposal.objects.filter(point=point, state__in=Proposal.WAITING).first(),
        "steps": list(point.jumps.open().select_related("record")[:SHOWN]),
    }


@require_safe
def transmitter(request: SignedRequest, pk: int) -> HttpResponse:
    """A device: its data, where it was installed, its results at every point, its drift where it is
    now.
    """
    seen = Transmitter.objects.seen_by(request.user).select_related("site")
    device = get_object_or_404(seen, pk=pk)
    rows = Installation.objects.filter(transmitter=device).select_related("point__tank__product")
    installations = list(rows[:SHOWN])
    present = next((row for row in installations if row.removed_on is None), None)
    context: dict[str, Any] = {
        "transmitter": device,
        "lines": TRANSMITTER.lines(device),
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(transmitter=device).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        **_acts(request.user, device.site_id),
    }
    if present:
        today = device.site.day_of(timezone.now())
        point = present.point
        context |= drift_context(point, end=request.GET.get("of", ""), today=today)
        context |= {"point": point, **_probe_of(device, point)}
    return render(request, "calibration/points/transmitter.html", context)


def _probe_of(device: Transmitter, point: MeasuringPoint) -> dict[str, Any]:
    """What a capacitance probe should measure where it is installed, or which datum is
    missing for that.
    """
    if device.principle not in CAPACITANCE:
        return {}
    try:
        probe = probe_figures(device, point, geometry_of(point.tank))
    except Lacking as lacking:
        return {"probe_lacks": str(lacking)}
    except Refused as refusal:
        return {"probe_lacks": f"dimensions of the tank that hold ({refusal})"}
    return {
        "probe": probe,
        "probe_holds": contents_text(probe.liquid.product, probe.liquid.celsius),
    }


def _acts(person: Person, site_id: int) -> dict[str, bool]:
    """What this person may do here, for the buttons."""
    acts = {
        "may_calibrate": "calibrate",
        "may_plan": "plan",
        "may_edit": "edit register",
        "may_set_interval": "set interval",
        "may_defer": "defer",
        "may_change_policy": "change policy",
    }
    return {name: may(person, act, site_id) for name, act in acts.items()}


@dataclass(frozen=True)
class Limits:
    """Tolerance and adjust limit in every unit that makes sense at this point; mm is None where
    volume is indicated.
    """

    percent: float
    signal: float
    millimetres: float | None
    adjust_percent: float


def limits_of(point: MeasuringPoint) -> Limits:
    percent_ = point.limits.percent
    span_mm = None if point.quantity == "volume" else 1000 * point.span_base
    return Limits(
        percent=percent_,
        signal=percent_ / 100 * (point.output.high - point.output.low),
        millimetres=None if span_mm is None else percent_ / 100 * span_mm,
        adjust_percent=point.adjust_limits.percent,
    )
