"""Rows for tests, each valid as it comes; name only what your test is about.

All play in one invented plant: Marram Point, an edible-oil terminal.
"""

from __future__ import annotations

import datetime as dt
import itertools
import uuid
from decimal import Decimal

from calibration.approval import acts as approval_acts
from calibration.jobs import acts as jobs
from calibration.jobs.models import Job
from calibration.procedures.acts import publish
from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.version_change import Content, Step
from calibration.records import acts as records
from calibration.records.models import Adjustment, Calibration
from calibration.records.sent import SentAdjustment, SentReading, SentRecord
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.naming import natural_key
from plant.people.models import Appointment, Person
from plant.points.models import MeasuringPoint
from plant.products.models import Product
from plant.sites.models import Area, Site
from plant.tanks.geometry import derive
from plant.tanks.models import Tank
from plant.transmitters.models import Installation, Transmitter

_number = itertools.count(1)

LONG_AGO = dt.date(2020, 1, 1)
NOON = dt.datetime(2026, 11, 2, 12, 0, tzinfo=dt.UTC)
TODAY = NOON.date()


def a_site(
    code: str = "M", name: str = "Marram Point", time_zone: str = "Europe/Lisbon", **more
) -> Site:
    site, _ = Site.objects.get_or_create(
        code=code, defaults={"name": name, "time_zone": time_zone, **more}
    )
    return site


def a_person(
    username: str, *roles: str, site: Site | None = None, password: str = "", **more
) -> Person:
    person = Person(username=username, name=more.pop("name", username.title()), **more)
    person.email = person.email or f"{username}@marram.example"
    person.set_password(password or "correct horse")
    person.save()
    for role in roles:
        Appointment.objects.create(
            person=person, site=site or a_site(), role=role, starts_on=LONG_AGO
        )
    return person


def an_area(site: Site | None = None, name: str = "Quay park") -> Area:
    area, _ = Area.objects.get_or_create(site=site or a_site(), name=name)
    return area


def a_product(site: Site | None = None, name: str = "palm olein", **more) -> Product:
    facts = {
        "permittivity": Decimal("3.05"),
        "permittivity_c": 40,
        "density": 900,
        "density_c": 40,
        **more,
    }
    product, _ = Product.objects.get_or_create(site=site or a_site(), name=name, defaults=facts)
    return product


def a_tank(name: str = "T-101", site: Site | None = None, **more) -> Tank:
    site = site or a_site()
    facts = {
        "shape": "vertical",
        "unit": "m",
        "diameter": Decimal(11),
        "height": Decimal(12),
        **more,
    }
    facts.setdefault("area", an_area(site))
    facts.setdefault("product", a_product(site))
    tank = Tank(site=site, name=name, name_key=natural_key(name), **facts)
    derive(tank)
    tank.save()
    return tank


def a_point(tag: str = "LT-101A", tank: Tank | None = None, **more) -> MeasuringPoint:
    tank = tank or Tank.objects.filter(name="T-101", site=a_site()).first() or a_tank()
    facts = {
        "lower": Decimal("0.3"),
        "upper": Decimal("8.3"),
        "tolerance": Decimal(1),
        "adjust_limit": Decimal("0.5"),
        "due_on": TODAY,
        **more,
    }
    point = MeasuringPoint(site=tank.site, tank=tank, tag=tag, tag_key=natural_key(tag), **facts)
    point.save()
    point.refresh_from_db()
    return point


def a_transmitter(serial: str = "", site: Site | None = None, **more) -> Transmitter:
    facts = {
        "maker": "Tarn & Weir",
        "model": "R4",
        "principle": "capacitance rod",
        "wiring": "3-wire",
        **more,
    }
    return Transmitter.objects.create(
        site=site or a_site(), serial=serial or f"S{next(_number):05d}", **facts
    )


def an_installation(
    point: MeasuringPoint,
    transmitter: Transmitter | None = None,
    installed_on: dt.date = LONG_AGO,
    removed_on: dt.date | None = None,
) -> Installation:
    transmitter = transmitter or a_transmitter(site=point.site)
    return Installation.objects.create(
        site=point.site,
        point=point,
        transmitter=transmitter,
        installed_on=installed_on,
        removed_on=removed_on,
    )


def an_equipped_point(tag: str = "LT-101A", **more) -> MeasuringPoint:
    """A point with a transmitter hanging at it."""
    point = a_point(tag, **more)
    an_installation(point)
    return point


def a_standard(name: str = "MM-01", site: Site | None = None, **more) -> ReferenceStandard:
    facts = {"kind": "multimeter", **more}
    return ReferenceStandard.objects.create(site=site or a_site(), name=name, **facts)


def a_certificate(
    standard: ReferenceStandard,
    issued_on: dt.date = dt.date(2026, 1, 15),
    valid_until: dt.date = dt.date(2027, 1, 14),
    **more,
) -> StandardCertificate:
    facts = {"number": f"C-{next(_number)}", "laboratory": "Heron Metrology Laboratory", **more}
    return StandardCertificate.objects.create(
        standard=standard, issued_on=issued_on, valid_until=valid_until, **facts
    )


def a_certified_standard(name: str = "MM-01", site: Site | None = None) -> ReferenceStandard:
    standard = a_standard(name, site)
    a_certificate(standard)
    return standard


def a_procedure(
    key: str = "cap-tank", way: str = "wetted level by dip", **more
) -> ProcedureVersion:
    """A published version, five points up and down."""
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
        steps=[
            Step("caution", "Permit in force.", "A1"),
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


def a_run(
    errors: list[float], stage: str = "as found", *, lower="0.3", upper="8.3"
) -> list[SentReading]:
    """Five points up and down (or as many as ``errors``) with these errors in % of span, 4–20
    mA.
    """
    shape = [0, 25, 50, 75, 100, 75, 50, 25, 0][: len(errors)]
    low, high = Decimal(lower), Decimal(upper)
    return [
        SentReading(
            stage=stage,
            sequence=n,
            applied=low + (high - low) * percent / 100,
            observed=Decimal(str(round(4 + 0.16 * (percent + error), 4))),
            rising=n <= 5,
        )
        for n, (percent, error) in enumerate(zip(shape, errors, strict=False), 1)
    ]


def a_sent_record(
    *,
    found: list[float] | None = None,
    left: list[float] | None = None,
    site: Site | None = None,
    done_on: dt.date = TODAY,
    **more,
) -> SentRecord:
    """What a technician would send: nine as-found readings, as left when given, one standard."""
    found = [0.1] * 9 if found is None else found
    standing = a_run([found[0] if found else 0.0], "as it stands")
    standard = ReferenceStandard.objects.filter(
        site=site or a_site()
    ).first() or a_certified_standard(site=site)
    facts = {
        "done_on": done_on,
        "way": "wetted level by dip",
        "procedure_version": a_procedure(),
        "readings": [*standing, *a_run(found), *a_run(left or [], "as left")],
        "standards": [standard],
        **more,
    }
    if left:
        facts.setdefault("adjustments", [SentAdjustment("zero")])
    return SentRecord(**facts)


def a_record(
    point: MeasuringPoint | None = None, *, by: Person, at: dt.datetime = NOON, **sent
) -> Calibration:
    """A record waiting for approval."""
    point = point or an_equipped_point()
    job = a_job(point, by=by)
    return records.submit(
        job, a_sent_record(site=point.site, **sent), submission=uuid.uuid4(), by=by, at=at
    ).record


def an_approved_record(
    point: MeasuringPoint | None = None,
    *,
    by: Person,
    approved_by: Person,
    at: dt.datetime = NOON,
    **sent,
) -> Calibration:
    record = a_record(point, by=by, at=at, **sent)
    return approval_acts.approve(
        record, content_sha256=record.content_sha256, by=approved_by, at=at
    )
