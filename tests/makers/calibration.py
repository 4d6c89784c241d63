"""Standards, procedures, jobs, rounds and proposals."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from decimal import Decimal

from calibration.intervals.models import Proposal
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.procedures.acts import publish
from calibration.procedures.models import OUTPUT_ALONE, Procedure, ProcedureVersion
from calibration.procedures.version_change import Content, Step
from calibration.records.models import Adjustment
from calibration.rounds import acts as rounds
from calibration.rounds.models import Round
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.people.models import Person
from plant.points.models import MeasuringPoint
from plant.sites.models import Site
from tests.makers.plant import LONG_AGO, NOON, TODAY, a_site, an_equipped_point

_number = itertools.count(1)


def a_standard(name: str = "MM-01", site: Site | None = None, **more) -> ReferenceStandard:
    facts = {"kind": "multimeter", **more}
    return ReferenceStandard.objects.create(site=site or a_site(), name=name, **facts)


# In what a laboratory certifies each kind.
UNITS = {
    "capacitance decade box": "pF",
    "dip tape": "mm",
    "laser or steel tape": "mm",
    "pressure calibrator": "kPa",
    "weights": "kg",
    "resistor": "Ω",
    "thermometer": "°C",
    "hydrometer": "kg/m³",
    "bond or insulation tester": "Ω",
}
ACCURACY = ("percent_of_reading", "percent_of_range", "absolute", "expanded_uncertainty")


def a_certificate(
    standard: ReferenceStandard,
    issued_on: dt.date = dt.date(2026, 1, 15),
    valid_until: dt.date = dt.date(2027, 1, 14),
    **more,
) -> StandardCertificate:
    """Of ± (0.02 % of reading + 0.002 units), where no other accuracy is named."""
    facts = {"number": f"C-{next(_number)}", "laboratory": "Heron Metrology Laboratory", **more}
    facts.setdefault("unit", UNITS.get(standard.kind, "mA"))
    if not any(name in more for name in ACCURACY):
        facts |= {"percent_of_reading": Decimal("0.02"), "absolute": Decimal("0.002")}
    return StandardCertificate.objects.create(
        standard=standard, issued_on=issued_on, valid_until=valid_until, **facts
    )


def a_certified_standard(name: str = "MM-01", site: Site | None = None) -> ReferenceStandard:
    standard = a_standard(name, site)
    a_certificate(standard)
    return standard


def a_procedure(
    key: str = "cap-tank", way: str = "wetted level by dip", asks: Sequence[dict] = (), **more
) -> ProcedureVersion:
    """A published version, five points up and down; ``asks``: what its step of preparing asks."""
    procedure = Procedure.objects.filter(key=key).first()
    if procedure:
        return procedure.versions.first()
    procedure = Procedure.objects.create(key=key, name=key, principles=["capacitance rod"])
    content = Content(
        way=way,
        percents=[Decimal(p) for p in (0, 25, 50, 75, 100)],
        up_and_down=True,
        settle_seconds=30,
        adjusts=tuple(Adjustment.Kind.values),
        covers_primary=more.pop("covers_primary", way not in OUTPUT_ALONE),
        steps=[
            Step("caution", "Permit in force.", "A1"),
            *([Step("prepare", "Bond measured.", "T1", asks=asks)] if asks else []),
            Step("read", "As it stands.", "A9", "as it stands"),
            Step("read", "As found.", "T3", "as found"),
            Step("adjust", "Zero, then span.", "T5"),
            Step("read", "As left.", "T6", "as left"),
            Step("restore", "Loop returned.", "Z1"),
        ],
        **more,
    )
    return publish(procedure, content, reason="first", on=LONG_AGO)


def a_job(point: MeasuringPoint | None = None, *, by: Person) -> Job:
    """A job in hand of the technician ``by``."""
    return jobs.start(point or an_equipped_point(), by=by)


def a_round(points: list[MeasuringPoint], *, technician: Person, by: Person, **more) -> Round:
    facts = {
        "name": "Quay park, week 46",
        "starts_on": TODAY,
        "ends_on": TODAY + dt.timedelta(days=4),
        **more,
    }
    return rounds.plan(points, **facts, technician=technician, by=by, at=NOON)


def a_proposal(point: MeasuringPoint, months: int = 18, **more) -> Proposal:
    facts = {"made_at": NOON, "method": "drift", "months_now": point.interval_months, **more}
    return Proposal.objects.create(site=point.site, point=point, months=months, **facts)
