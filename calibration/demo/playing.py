"""The demo's stories played: each act by the person who did it, on its day, through the operation
of that name.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from calibration.approval import acts as approval_acts
from calibration.deferrals import acts as deferrals
from calibration.deferrals.models import Deferral
from calibration.findings import acts as findings
from calibration.findings.models import Finding
from calibration.intervals import acts as intervals
from calibration.jobs import acts as jobs
from calibration.procedures.models import ProcedureVersion
from calibration.product_changes import acts as demands
from calibration.records import acts as records
from calibration.records.entry import AdjustmentEntry, ReadingEntry, RecordEntry
from calibration.records.models import Calibration
from calibration.rounds import acts as rounds
from calibration.standards import acts as standards
from calibration.standards.models import ReferenceStandard
from plant.people.models import Person
from plant.points import acts as points
from plant.points.models import MeasuringPoint
from plant.products.models import Product
from plant.saving import mark_of
from plant.sites.models import Site
from plant.tanks.models import Tank
from plant.transmitters import acts as installing
from plant.transmitters.models import Installation, Transmitter

Act = dict[str, Any]
NAMESPACE = uuid.UUID("7a6c2a34-6f53-5d6e-8f0b-2f6d7f1f5b1c")
MORNING = dt.time(10)


class Play:
    """Plays acts against the sites. ``rows``: the readings of records that are sent, one row
    each.
    """

    def __init__(
        self, rows: list[dict[str, str]], sites: dict[str, Site], *, today: dt.date
    ) -> None:
        self.sites, self.today = sites, today
        self.people = {person.username: person for person in Person.objects.all()}
        self.rows: dict[str, list[dict[str, str]]] = defaultdict(list)
        for row in rows:
            self.rows[row["record"]].append(row)

    def acts(self, acts: Iterable[Act]) -> None:
        for act in acts:
            getattr(self, "_" + act["do"].replace(" ", "_"))(act)

    # ---- the register ----
    def _swap(self, act: Act) -> None:
        point, by = self._point(act["tag"]), self._by(act)
        old = Installation.objects.select_related("transmitter").get(point=point, removed_on=None)
        new = Transmitter(
            site_id=point.site_id,
            serial=act["serial"],
            maker=act["maker"],
            model=act["model"],
            principle=old.transmitter.principle,
            wiring=old.transmitter.wiring,
            status=Transmitter.Status.SPARE,
        )
        installing.add_transmitter(new, by=by)
        installing.swap(
            point,
            transmitter=new,
            seen=old.pk,
            goes=act["goes"],
            on=self._day(act),
            today=self.today,
            why=act["why"],
            by=by,
        )

    def _change_product(self, act: Act) -> None:
        tank = Tank.objects.select_related("site").get(
            site__in=self.sites.values(), name=act["tank"]
        )
        at = dt.datetime.combine(self._day(act), MORNING, tzinfo=tank.site.zone)
        demands.change_product(
            tank,
            product=Product.objects.get(site=tank.site_id, name=act["product"]),
            celsius=Decimal(act["celsius"]),
            on=self._day(act),
            why=act["why"],
            by=self._by(act),
            at=at,
        )

    def _change_tolerance(self, act: Act) -> None:
        point = self._point(act["tag"])
        seen = mark_of(point, points.POINT_FIELDS)
        point.tolerance, point.adjust_limit = Decimal(act["tolerance"]), Decimal(act["adjust"])
        points.change(point, seen=seen, why=act["why"], by=self._by(act))

    def _change_interval(self, act: Act) -> None:
        intervals.change(
            self._point(act["tag"]),
            months=act["months"],
            grace_days=act["grace"],
            why=act["why"],
            by=self._by(act),
        )

    def _out_of_service(self, act: Act) -> None:
        points.take_out_of_service(
            self._point(act["tag"]),
            on=self._day(act),
            today=self.today,
            why=act["why"],
            by=self._by(act),
        )

    def _withdraw_standard(self, act: Act) -> None:
        standard = ReferenceStandard.objects.get(site=self.sites[act["site"]], name=act["standard"])
        standards.withdraw(standard, on=self._day(act), why=act["why"], by=self._by(act))

    # ---- records and what follows from them ----
    def _send_record(self, act: Act) -> None:
        point, by = self._point(act["tag"]), self._by(act)
        job = jobs.start(point, by=by)
        records.submit(
            job,
            self._record_entry(act["record"], point),
            submission=_submission(act["record"]),
            by=by,
            at=self._at(act, point),
        )

    def _approve_record(self, act: Act) -> None:
        record = self._record(act["record"])
        approval_acts.approve(
            record,
            content_sha256=record.content_sha256,
            note=act.get("note", ""),
            by=self._by(act),
            at=self._at(act, record.point, hours=5),
        )

    def _amend_record(self, act: Act) -> None:
        record = self._record(act["amends"])
        records.amend(
            record,
            self._record_entry(act["record"], record.point),
            reason=act["why"],
            submission=_submission(act["record"]),
            by=self._by(act),
            at=self._at(act, record.point),
        )

    def _assess_finding(self, act: Act) -> None:
        finding = self._finding(act)
        findings.assess(
            finding, text=act["text"], by=self._by(act), at=self._at(act, finding.point)
        )

    def _agree_finding(self, act: Act) -> None:
        finding = self._finding(act)
        findings.agree(finding, by=self._by(act), at=self._at(act, finding.point))

    def _record_entry(self, key: str, point: MeasuringPoint) -> RecordEntry:
        rows = self.rows[key]
        first = rows[0]
        names = first["standards"].split("; ")
        return RecordEntry(
            done_on=dt.date.fromisoformat(first["day"]),
            way=first["way"],
            procedure_version=ProcedureVersion.objects.filter(
                procedure__key=first["procedure"]
            ).latest("number"),
            readings=[_reading(row) for row in rows],
            standards=list(ReferenceStandard.objects.filter(site=point.site_id, name__in=names)),
            adjustments=[AdjustmentEntry(kind) for kind in first["adjusted"].split("; ") if kind],
            ambient_c=Decimal(first["ambient (°C)"]),
            product_c=Decimal(first["product (°C)"]),
            no_as_found_reason=first["no as found because"],
            note=first["note"],
        )

    # ---- planning ----
    def _ask_deferral(self, act: Act) -> None:
        point = self._point(act["tag"])
        until = point.due_on + dt.timedelta(days=act["days"])
        deferrals.ask(
            point, until=until, reason=act["reason"], by=self._by(act), at=self._at(act, point)
        )

    def _grant_deferral(self, act: Act) -> None:
        deferral = Deferral.objects.select_related("point__site").get(
            point__tag=act["tag"], granted=None
        )
        at = self._at(act, deferral.point)
        deferrals.decide(deferral, granted=True, note=act["note"], by=self._by(act), at=at)

    def _plan_job(self, act: Act) -> None:
        technician = self.people.get(act.get("technician", ""))
        jobs.plan(
            self._point(act["tag"]),
            why=act["reason"],
            technician=technician,
            note=act["note"],
            by=self._by(act),
        )

    def _start_job(self, act: Act) -> None:
        jobs.start(self._point(act["tag"]), by=self._by(act))

    def _plan_round(self, act: Act) -> None:
        site = self.sites[act["site"]]
        rounds.plan(
            MeasuringPoint.objects.filter(site=site, tag__in=act["tags"]),
            name=act["name"],
            starts_on=self._day(act),
            ends_on=dt.date.fromisoformat(act["until"]),
            technician=self.people[act["technician"]],
            by=self._by(act),
            at=dt.datetime.combine(self._day(act), MORNING, tzinfo=site.zone),
        )

    # ---- who, when, what ----
    def _by(self, act: Act) -> Person:
        return self.people[act["by"]]

    def _day(self, act: Act) -> dt.date:
        return dt.date.fromisoformat(act["day"])

    def _at(self, act: Act, point: MeasuringPoint, *, hours: int = 0) -> dt.datetime:
        at = dt.datetime.combine(self._day(act), MORNING, tzinfo=point.site.zone)
        return at + dt.timedelta(hours=hours)

    def _point(self, tag: str) -> MeasuringPoint:
        return MeasuringPoint.objects.select_related("site", "tank").get(
            site__in=self.sites.values(), tag=tag
        )

    def _record(self, key: str) -> Calibration:
        rows = Calibration.objects.select_related("point__site")
        return rows.get(submission=_submission(key))

    def _finding(self, act: Act) -> Finding:
        return Finding.objects.select_related("point__site").get(
            record__submission=_submission(act["record"])
        )


def _submission(key: str) -> uuid.UUID:
    return uuid.uuid5(NAMESPACE, key)


def _reading(row: dict[str, str]) -> ReadingEntry:
    observed = row["observed (mA)"] or row["observed (V)"]
    return ReadingEntry(
        stage=row["stage"],
        sequence=int(row["reading"]),
        applied=Decimal(row["applied (m)"] or row["applied (m3)"]),
        observed=Decimal(observed) if observed else None,
        indication=Decimal(row["indication (m)"]) if row["indication (m)"] else None,
        rising=row["direction"] == "up",
    )
