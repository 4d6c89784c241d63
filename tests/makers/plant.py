"""Sites, people, tanks, measuring points and transmitters."""

from __future__ import annotations

import datetime as dt
import itertools
from decimal import Decimal

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


def soybean_oil() -> Product:
    return a_product(
        name="soybean oil",
        permittivity=Decimal("3.15"),
        permittivity_c=25,
        density=917,
        density_c=25,
    )


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


def an_unsaved_point(**more) -> MeasuringPoint:
    """As a form would hand it over."""
    facts = {"tag": "LT-5", "lower": Decimal(0), "upper": Decimal(10), "due_on": TODAY}
    facts |= {"tolerance": Decimal(1), "adjust_limit": Decimal("0.5")}
    return MeasuringPoint(tank=more.pop("tank", None) or a_tank(), **(facts | more))


def an_unsaved_tank(**more) -> Tank:
    """As a form would hand it over."""
    facts = {"name": "T-9", "shape": "vertical", "diameter": Decimal(2), "height": Decimal(3)}
    return Tank(site=more.pop("site", None) or a_site(), **(facts | more))
