"""Everything that happened to a measuring point or a transmitter, in order of the day it
happened.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db import models

from calibration.deferrals.models import Deferral
from calibration.findings.models import Finding
from calibration.history.versions import (
    FieldChange,
    Version,
    changes_between,
    entries_of,
    versions_of_all,
)
from calibration.jobs.models import Job
from calibration.records.failures import STOOD_FIELDS, stored_failure, with_standing_failure
from calibration.records.models import Calibration
from plant.ledger.models import LedgerEntry
from plant.points.models import MeasuringPoint
from plant.product_changes.acts import contents_text
from plant.product_changes.models import ProductChange
from plant.sites.models import Site
from plant.transmitters.models import Installation, Transmitter

KINDS = {
    "register": "register",
    "installation": "installations",
    "record": "records and approvals",
    "finding": "findings",
    "deferral": "deferrals",
    "job": "jobs",
    "product": "products",
}


OWN_KINDS = ("measuring point", "transmitter")


@dataclass(frozen=True)
class Event:
    """``day``: when it happened; ``at``: when it was entered, None where that is not kept
    apart.
    """

    day: dt.date
    kind: str
    what: str
    who: str = ""
    why: str = ""
    at: dt.datetime | None = None
    url: str = ""
    tone: str = ""
    changes: list[FieldChange] = field(default_factory=list)

    def entered_later(self, site: Site) -> bool:
        return self.at is not None and site.day_of(self.at) > self.day


def of_point(point: MeasuringPoint) -> list[Event]:
    """The point's events, latest first."""
    installations = list(
        Installation.objects.filter(point=point).select_related("transmitter", "point")
    )
    events = [
        *_row_events(MeasuringPoint, point.pk, installations, point.site),
        *_records(Calibration.objects.filter(point=point), point.site),
        *_findings(Finding.objects.filter(point=point), point.site),
        *_deferrals(Deferral.objects.filter(point=point), point.site),
        *_jobs(Job.objects.filter(point=point), point.site),
        *_products(ProductChange.objects.filter(tank=point.tank_id)),
    ]
    return _in_order(events)


def of_transmitter(transmitter: Transmitter) -> list[Event]:
    site = transmitter.site
    installations = list(transmitter.installations.select_related("transmitter", "point"))
    events = [
        *_row_events(Transmitter, transmitter.pk, installations, site),
        *_records(Calibration.objects.filter(transmitter=transmitter), site),
        *_findings(Finding.objects.filter(record__transmitter=transmitter), site),
    ]
    return _in_order(events)


def _in_order(events: Iterable[Event]) -> list[Event]:
    floor = dt.datetime.min.replace(tzinfo=dt.UTC)
    return sorted(events, key=lambda event: (event.day, event.at or floor), reverse=True)


def _row_events(
    model: type[MeasuringPoint] | type[Transmitter],
    pk: int,
    installations: list[Installation],
    site: Site,
) -> list[Event]:
    """What became of the row itself and of its installations; two queries."""
    stored = versions_of_all({model: [pk], Installation: [row.pk for row in installations]})
    held = [
        version for rows in stored.values() for versions in rows.values() for version in versions
    ]
    entries = entries_of({version.transaction for version in held})
    return [
        *_register(model, stored[model].get(pk, []), entries, site),
        *_installations(
            installations, stored[Installation], entries, of_point=model is MeasuringPoint
        ),
    ]


# ---- the register ----
def _register(
    model: type[models.Model], versions: list[Version], entries: dict[int, LedgerEntry], site: Site
) -> list[Event]:
    events = []
    for before, version in zip([None, *versions], versions, strict=False):
        entry = entries.get(version.transaction)
        changes = changes_between(model, before.values, version.values) if before else []
        if before is None or changes:
            events.append(_register_event(version, entry, changes, site, is_first=before is None))
    return events


def _register_event(
    version: Version,
    entry: LedgerEntry | None,
    changes: list[FieldChange],
    site: Site,
    *,
    is_first: bool,
) -> Event:
    act = entry.act if entry else "changed without an entry in the ledger"
    if is_first:
        act = f"entered by “{act}”"
    elif entry and entry.subject_kind not in OWN_KINDS:
        act = f"register changed by “{act}”"
    return Event(
        day=site.day_of(version.since),
        kind="register",
        what=act,
        who=entry.person_name if entry else "",
        why=entry.why if entry else "",
        at=version.since,
        url=f"/ledger/{entry.pk}/" if entry else "",
        tone="" if entry else "bad",
        changes=changes,
    )


# ---- installations ----
def _installations(
    installations: list[Installation],
    versions: dict[int, list[Version]],
    entries: dict[int, LedgerEntry],
    *,
    of_point: bool,
) -> list[Event]:
    events = []
    for row in installations:
        other = row.transmitter if of_point else row.point
        url = other.get_absolute_url()
        first, *later = versions[row.pk]
        events.append(
            _installation_event(
                row.installed_on, f"{other} installed", first, entries, url, row.note
            )
        )
        removed = next((v for v in later if v.values["removed_on"]), None)
        if row.removed_on:
            events.append(
                _installation_event(
                    row.removed_on, f"{other} removed", removed or first, entries, url, ""
                )
            )
    return events


def _installation_event(
    day: dt.date,
    what: str,
    version: Version,
    entries: dict[int, LedgerEntry],
    url: str,
    note: str,
) -> Event:
    entry = entries.get(version.transaction)
    who, why = (entry.person_name, entry.why) if entry else ("", "")
    return Event(day, "installation", what, who=who, why=why or note, at=version.since, url=url)


# ---- what was done ----
RECORD_FIELDS = (
    "pk",
    "done_on",
    "submitted_at",
    "performed_by_name",
    "source",
    "found_verdict",
    "left_verdict",
    "adjusted",
    "amends_id",
    "amend_reason",
    *STOOD_FIELDS,
    "state",
    "approved_at",
    "approved_by_name",
    "approval_note",
    "returned_at",
    "returned_by__name",
    "return_reason",
)


def _records(rows: models.QuerySet[Calibration], site: Site) -> list[Event]:
    events = []
    for row in with_standing_failure(rows).values(*RECORD_FIELDS):
        url, name = f"/records/{row['pk']}/", f"record {row['pk']}"
        sent_on = site.day_of(row["submitted_at"])
        events.append(
            Event(
                day=sent_on if row["amends_id"] else row["done_on"],
                kind="record",
                what=_record_text(row, name),
                who=row["performed_by_name"],
                why=_record_reason(row),
                at=row["submitted_at"],
                url=url,
                tone="bad" if row["found_verdict"] == "fail" else "good",
            )
        )
        if row["approved_at"]:
            what, who = f"{name} approved", row["approved_by_name"]
            events.append(_signed(row["approved_at"], what, who, row["approval_note"], url, site))
        if row["returned_at"]:
            what, who = f"{name} returned", row["returned_by__name"]
            events.append(_signed(row["returned_at"], what, who, row["return_reason"], url, site))
    return events


def _record_reason(row: dict) -> str:
    """Where it stood failed, that says already why as found is missing."""
    stood = stored_failure(row)
    rest = f"{stood}." if stood else row["no_as_found_reason"]
    return " ".join(filter(None, (row["amend_reason"], rest)))


def _record_text(row: dict, name: str) -> str:
    found = f"as found {row['found_verdict']}" if row["found_verdict"] else "as found missing"
    left = f"adjusted, as left {row['left_verdict']}" if row["adjusted"] else "not adjusted"
    first = (
        f"{name} amends record {row['amends_id']}" if row["amends_id"] else f"calibrated, {name}"
    )
    imported = ", imported" if row["source"] == Calibration.Source.IMPORTED else ""
    return f"{first}: {found}, {left}{imported}"


def _signed(at: dt.datetime, what: str, who: str, why: str, url: str, site: Site) -> Event:
    return Event(site.day_of(at), "record", what, who=who, why=why, at=at, url=url)


def _findings(rows: models.QuerySet[Finding], site: Site) -> list[Event]:
    events = []
    for row in rows.select_related("assessed_by", "agreed_by"):
        name, url = f"finding {row.pk}", row.get_absolute_url()
        found = "failed" if row.largest_percent is None else "out of tolerance"
        opened = f"{name} opened by record {row.record_id}, found {found}"
        events.append(_event(row.opened_at, "finding", opened, "", "", url, site, tone="bad"))
        if row.assessed_at:
            who = str(row.assessed_by)
            events.append(
                _event(
                    row.assessed_at, "finding", f"{name} assessed", who, row.assessment, url, site
                )
            )
        if row.closed_at:
            who = str(row.agreed_by)
            events.append(
                _event(row.closed_at, "finding", f"{name} closed", who, "", url, site, tone="good")
            )
    return events


def _deferrals(rows: models.QuerySet[Deferral], site: Site) -> list[Event]:
    events = []
    for row in rows.select_related("asked_by", "decided_by"):
        asked = f"deferral asked, from {row.due_on} to {row.until}"
        events.append(
            _event(row.asked_at, "deferral", asked, str(row.asked_by), row.reason, "", site)
        )
        if row.decided_at:
            said = f"deferral until {row.until} {'granted' if row.granted else 'refused'}"
            who, why = str(row.decided_by), row.decision_note
            events.append(_event(row.decided_at, "deferral", said, who, why, "", site))
    return events


def _jobs(rows: models.QuerySet[Job], site: Site) -> list[Event]:
    entries = LedgerEntry.objects.filter(subject_kind="job", subject_id__in=rows.values("pk"))
    return [
        _event(e.at, "job", e.act, e.person_name, e.why, f"/jobs/{e.subject_id}/", site)
        for e in entries
    ]


def _products(rows: models.QuerySet[ProductChange]) -> list[Event]:
    """What the tank held instead from which day; its page shows the recalibrations asked for."""
    return [
        Event(
            day=row.on,
            kind="product",
            what=f"the tank holds {contents_text(row.product, row.celsius)} "
            f"instead of {contents_text(row.product_before, row.celsius_before)}",
            why=row.why,
            url=f"/tanks/{row.tank_id}/product/",
        )
        for row in rows.select_related("product", "product_before")
    ]


def _event(
    at: dt.datetime, kind: str, what: str, who: str, why: str, url: str, site: Site, tone: str = ""
) -> Event:
    return Event(site.day_of(at), kind, what, who=who, why=why, at=at, url=url, tone=tone)
