"""One measuring point, one transmitter: what they are, how they drift, what was found."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.charts import drift_chart
from calibration.models import Calibration, Procedure
from calibration.operations.trends import NEEDED, Drift, PointTrend, trend_of
from plant.models import Installation, MeasuringPoint, Person, Transmitter
from plant.permissions import may
from plant.requests import SignedRequest
from plant.templatetags.quantities import day_text, percent

SHOWN = 12
POINTS_OF_LINE = 60
STRIP = (
    "site_id", "tag", "serial", "done_on", "performed_by_name", "approved_by_name", "state", "adjusted", "amends_id",
    "found_verdict", "left_verdict", "found_errors", "left_errors", "found_largest", "tolerance_percent",
)  # fmt: skip


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
    facts = {
        "point": point,
        "state": point.state(today),
        "run": point.interval_run(today),
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(point=point).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        "jobs": list(point.jobs.select_related("technician", "round").order_by("-id")[:10]),
        "deferrals": list(point.deferrals.select_related("asked_by", "decided_by")[:10]),
        "finding": point.findings.filter(closed_at=None).first(),
        "procedure": Procedure.objects.filter(key=point.procedure_key).first(),
        "limits": limits_of(point),
        **drift_of(trend_of(point), asked=request.GET.get("of", ""), today=today),
        **_acts(request.user, point.site_id),
    }
    return render(request, "calibration/point.html", facts)


@require_safe
def transmitter(request: SignedRequest, pk: int) -> HttpResponse:
    """A device: its data, where it hung, its results wherever they were found, its drift where it hangs now."""
    seen = Transmitter.objects.seen_by(request.user).select_related("site")
    device = get_object_or_404(seen, pk=pk)
    rows = Installation.objects.filter(transmitter=device).select_related("point__tank")
    installations = list(rows[:SHOWN])
    present = next((row for row in installations if row.removed_on is None), None)
    facts = {
        "transmitter": device,
        "present": present,
        "installations": installations,
        "records": list(Calibration.objects.filter(transmitter=device).only(*STRIP)[: SHOWN + 1]),
        "shown": SHOWN,
        **_acts(request.user, device.site_id),
    }
    if present:
        today = device.site.day_of(timezone.now())
        asked = request.GET.get("of", "")
        facts |= drift_of(trend_of(present.point), asked=asked, today=today)
    return render(request, "calibration/transmitter.html", facts)


def _acts(person: Person, site_id: int) -> dict[str, bool]:
    """What this person may do here, for the buttons."""
    acts = {
        "may_calibrate": "calibrate",
        "may_plan": "plan",
        "may_edit": "edit register",
        "may_set_interval": "set interval",
        "may_defer": "defer",
    }
    return {name: may(person, act, site_id) for name, act in acts.items()}


@dataclass(frozen=True)
class Limits:
    """Tolerance and adjust limit in every unit that makes sense at this point; mm is None where volume is indicated."""

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


# ---- the drift, in a picture, a sentence and a table ----
def drift_of(trend: PointTrend, *, asked: str, today: dt.date) -> dict[str, Any]:
    """What a page shows of a trend: the end asked for (zero or span), else the one that needs a look first."""
    met = trend.first_crossing
    end = asked if asked in ("zero", "span") else met[1] if met else _steeper(trend)
    drift = trend.span if end == "span" else trend.zero
    tolerance = trend.tolerance_percent
    return {
        "trend": trend,
        "drift": drift,
        "drift_ends": ("zero", "span"),
        "drift_chart": chart_of(drift, tolerance, today) if drift.fit else None,
        "drift_rows": list(zip(drift.days, drift.values, drift.adjusted, strict=True))[::-1],
        "drift_sentence": sentence(drift, tolerance, today),
        "tolerance_percent": tolerance,
    }


def _steeper(trend: PointTrend) -> str:
    rates = {d.end: abs(d.fit.slope) if d.fit else 0.0 for d in (trend.zero, trend.span)}
    return "span" if rates["span"] > rates["zero"] else "zero"


def sentence(drift: Drift, tolerance: float, today: dt.date) -> str:
    """Rate, its 95 % interval and the day on which the band meets the tolerance, in words."""
    if drift.fit is None:
        have = f"{drift.results} result{'' if drift.results == 1 else 's'} so far"
        return f"{NEEDED} results are needed before a trend can be drawn; there {_are(drift.results)} {have}."
    low, high = (percent(float(end), tolerance) for end in drift.fit.slope_interval())
    rate = f"{percent(float(drift.fit.slope), tolerance)} % of span a year (95 %: {low} to {high})"
    return f"{rate}, from {drift.results} results. {_meets(drift, today)}"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _meets(drift: Drift, today: dt.date) -> str:
    if drift.crossing and drift.crossing.band_already_out:
        return "The 95 % band reached beyond the tolerance already at the last result."
    if drift.crossing_on is None:
        return "The 95 % band does not meet the tolerance within 10 years."
    word = "met" if drift.crossing_on < today else "meets"
    return f"The 95 % band {word} the tolerance on {day_text(drift.crossing_on)}."


def chart_of(drift: Drift, tolerance: float, today: dt.date) -> dict[str, Any]:
    """The picture: results, line and band from the first result until a little beyond the crossing, or a year on."""
    days = _days_of_line(drift, today)
    line, half = drift.at(days)
    shown_until = days[-1]
    crossing = drift.crossing_on
    out_already = drift.crossing is not None and drift.crossing.band_already_out
    marked = crossing and crossing <= shown_until and not out_already
    return drift_chart(
        found_on=[day.isoformat() for day in drift.days],
        found=drift.values,
        line_on=[day.isoformat() for day in days],
        line=line.tolist(),
        band_low=(line - half).tolist(),
        band_high=(line + half).tolist(),
        tolerance=tolerance,
        crossing_on=crossing.isoformat() if crossing and marked else None,
        was_out=drift.out,
        adjusted_on=[
            day.isoformat() for day, was in zip(drift.days, drift.adjusted, strict=True) if was
        ],
    )


def _days_of_line(drift: Drift, today: dt.date) -> list[dt.date]:
    first, last = drift.days[0], drift.days[-1]
    until = max(today, last) + dt.timedelta(days=365)
    if drift.crossing_on and drift.crossing_on < last + 2 * (last - first):
        until = max(until, drift.crossing_on + dt.timedelta(days=90))
    days = (until - first).days
    return [
        first + dt.timedelta(days=round(days * n / (POINTS_OF_LINE - 1)))
        for n in range(POINTS_OF_LINE)
    ]
