"""The auditor's pages: what happened to a point or a transmitter, the register as it stood, and the
ledger.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.history import timeline
from calibration.history.as_it_stood import as_it_stood
from calibration.history.filters import LedgerFilter
from calibration.history.forms import DayForm
from calibration.history.tables import LedgerTable
from calibration.history.versions import MOST_ROWS, rows_changed_in
from plant.cells import csv_cell, digits
from plant.ledger.models import LedgerEntry
from plant.pages.paging import page_of, without_place
from plant.pages.requests import SignedRequest
from plant.people.permissions import may
from plant.points.columns import POINT
from plant.points.models import MeasuringPoint
from plant.points.tolerance_texts import typed_tolerance
from plant.refusals import NotAllowed
from plant.sites.models import Site
from plant.transmitters.models import Transmitter

SHOWN = 300
AT_ONCE = 2000


# ---- one point, one transmitter ----
@require_safe
def point(request: SignedRequest, pk: int) -> HttpResponse:
    """Everything that happened to a point; and with ``day``, the register as it stood at its
    end.
    """
    point = _point(request, pk)
    today = point.site.day_of(timezone.now())
    form = DayForm(request.GET if "day" in request.GET else None, today=today)
    context: dict[str, Any] = {"point": point, "form": form}
    if form.is_bound and form.is_valid():
        stood = as_it_stood(point, day=form.cleaned_data["day"])
        context |= {"asked": form.cleaned_data["day"], "stood": stood}
        if stood:
            context["lines"] = POINT.lines(stood.point)
            context["tolerance"] = typed_tolerance(stood.point)
            context["adjust_limit"] = digits(stood.point.adjust_limit)
    # A day asked for has the page to itself; what happened is one link away.
    events = [] if context.get("stood") else timeline.of_point(point)
    return _timeline(request, "calibration/history/history.html", events, point.site, **context)


@require_safe
def transmitter(request: SignedRequest, pk: int) -> HttpResponse:
    device = _transmitter(request, pk)
    events = timeline.of_transmitter(device)
    return _timeline(
        request,
        "calibration/history/history_transmitter.html",
        events,
        device.site,
        transmitter=device,
    )


@require_safe
def point_csv(request: SignedRequest, pk: int) -> HttpResponseBase:
    point = _point(request, pk)
    return _events_csv(timeline.of_point(point), point.site, f"history-{point.tag}")


@require_safe
def transmitter_csv(request: SignedRequest, pk: int) -> HttpResponseBase:
    device = _transmitter(request, pk)
    return _events_csv(timeline.of_transmitter(device), device.site, f"history-{device.serial}")


def _point(request: SignedRequest, pk: int) -> MeasuringPoint:
    points = MeasuringPoint.objects.seen_by(request.user).select_related("site", "tank")
    return get_object_or_404(points, pk=pk)


def _transmitter(request: SignedRequest, pk: int) -> Transmitter:
    devices = Transmitter.objects.seen_by(request.user).select_related("site")
    return get_object_or_404(devices, pk=pk)


def _timeline(
    request: SignedRequest, template: str, events: list[timeline.Event], site: Site, **context: Any
) -> HttpResponse:
    """The events, all or of one kind; what was entered later than it happened is marked."""
    counts = {kind: sum(e.kind == kind for e in events) for kind in timeline.KINDS}
    asked = request.GET.get("kind", "")
    kept = [event for event in events if asked not in timeline.KINDS or event.kind == asked]
    if not may(request.user, "read ledger", site.pk):  # no link to a page that would refuse them
        kept = [replace(e, url="") if e.url.startswith("/ledger/") else e for e in kept]
    context |= {
        "site": site,
        "events": [(event, event.entered_later(site)) for event in kept[:SHOWN]],
        "left_out": max(0, len(kept) - SHOWN),
        "kinds": [(k, word, counts[k]) for k, word in timeline.KINDS.items() if counts[k]],
        "kind": asked if asked in timeline.KINDS else "",
        "total": len(events),
    }
    return render(request, template, context)


def _events_csv(events: list[timeline.Event], site: Site, name: str) -> HttpResponseBase:
    header = ("day", "kind", "what", "who", "why", "entered", "what changed")
    rows = (
        (
            event.day.isoformat(),
            event.kind,
            event.what,
            event.who,
            event.why,
            event.at.astimezone(site.zone).isoformat(timespec="seconds") if event.at else "",
            "; ".join(f"{c.name}: {c.was} -> {c.now}" for c in event.changes),
        )
        for event in events
    )
    return _csv(header, rows, name)


# ---- the ledger ----
@require_safe
def ledger(request: SignedRequest) -> HttpResponse:
    """Who did what, when and why, newest first."""
    entries = _entries(request)
    filtered = LedgerFilter(request.GET, entries)
    page = page_of(
        filtered.qs,
        ["-id"],
        query=request.GET,
        joined=entries,
    )
    _set_zones(page.rows)
    context = {
        "table": LedgerTable(page.rows, sort=""),
        "page": page,
        "filter": filtered,
        "query": without_place(request.GET),
        "is_filtered": bool(without_place(request.GET)),
    }
    return render(request, "calibration/history/ledger.html", context)


def _set_zones(entries: Iterable[Any]) -> None:
    """Give each entry the time zone of its site, in which its time is shown."""
    sites = Site.objects.filter(pk__in={entry.site_id for entry in entries})
    zones = {site.pk: site.zone for site in sites}
    for entry in entries:
        entry.zone = zones.get(entry.site_id)


@require_safe
def ledger_entry(request: SignedRequest, pk: int) -> HttpResponse:
    """One entry with the rows that its transaction changed."""
    entry = get_object_or_404(_entries(request).select_related("site"), pk=pk)
    sites = request.user.site_ids("read ledger")
    context = {
        "entry": entry,
        "details": [(name, _readable(value)) for name, value in entry.details.items()],
        "changes": rows_changed_in(entry.transaction, site_ids=sites),
        "most": MOST_ROWS,
        "beside": _entries(request).filter(transaction=entry.transaction).exclude(pk=pk)[:20],
    }
    return render(request, "calibration/history/ledger_entry.html", context)


@require_safe
def ledger_csv(request: SignedRequest) -> HttpResponseBase:
    """The filtered ledger as a file, oldest first, streamed."""
    kept = LedgerFilter(request.GET, _entries(request)).qs
    header = ("entry", "when", "who", "act", "kind", "on", "why", "details")
    return _csv(header, _ledger_rows(kept.order_by("id")), "ledger")


def _ledger_rows(entries: Any) -> Iterator[tuple[str, ...]]:
    for entry in entries.iterator(chunk_size=AT_ONCE):
        details = "; ".join(f"{name}: {_readable(value)}" for name, value in entry.details.items())
        at = entry.at.isoformat(timespec="seconds")
        yield (
            str(entry.pk),
            at,
            entry.person_name,
            entry.act,
            entry.subject_kind,
            entry.subject,
            entry.why,
            details,
        )


def _entries(request: SignedRequest) -> Any:
    if not request.user.site_ids("read ledger"):
        raise NotAllowed("Only a planner, an approver or an auditor may read the ledger.")
    return LedgerEntry.objects.seen_by(request.user)


def _readable(value: Any) -> str:
    """A detail as a person reads it: [was, is] as a change, lists joined."""
    if isinstance(value, list):
        pair = len(value) == 2 and all(isinstance(part, str) for part in value)
        return f"{value[0] or '–'} → {value[1] or '–'}" if pair else ", ".join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{name} {_readable(part)}" for name, part in value.items())
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value in (None, "") else str(value)


# ---- files ----
def _csv(header: Iterable[str], rows: Iterable[Iterable[str]], name: str) -> HttpResponseBase:
    """Streamed line by line; text that a spreadsheet would run as a formula is shielded."""
    plain = "".join(sign if sign.isalnum() or sign in "-._" else "-" for sign in name)
    headers = {"Content-Disposition": f'attachment; filename="{plain}.csv"'}
    return StreamingHttpResponse(
        _lines(header, rows), content_type="text/csv; charset=utf-8", headers=headers
    )


def _lines(header: Iterable[str], rows: Iterable[Iterable[str]]) -> Iterator[str]:
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    yield "\ufeff"  # so that a spreadsheet reads it as UTF-8
    writer.writerow(header)
    for row in rows:
        writer.writerow([csv_cell(cell) for cell in row])
        if buffer.tell() > 65_536:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()
