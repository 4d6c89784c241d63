"""The register as it stood on a day: what somebody would have read in it at the end of that day
at the site.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import models

from calibration.history.versions import Version, versions_of
from calibration.records.models import Calibration
from plant.points.models import MeasuringPoint
from plant.products.models import Product
from plant.sites.models import Site
from plant.tanks.models import Tank
from plant.transmitters.models import Installation, Transmitter


def end_of(day: dt.date, site: Site) -> dt.datetime:
    """The last instant of the day on the site's clock."""
    midnight = dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), tzinfo=site.zone)
    return midnight - dt.timedelta(microseconds=1)


@dataclass(frozen=True)
class PastRegister:
    """What the register said of a measuring point at the end of ``day``."""

    day: dt.date
    instant: dt.datetime
    point: MeasuringPoint
    tank: str
    product: str
    transmitter: str
    installed_since: dt.date | None
    transmitter_now: str
    last_record: Calibration | None

    @property
    def corrected_later(self) -> bool:
        """Whether the register now names another transmitter for that day."""
        return self.transmitter != self.transmitter_now


def as_it_stood(point: MeasuringPoint, *, day: dt.date) -> PastRegister | None:
    """What the register said of ``point`` on that day; None where it did not have the point yet."""
    instant = end_of(day, point.site)
    version = _at(versions_of(MeasuringPoint, [point.pk]).get(point.pk, []), instant)
    if version is None:
        return None
    then = row_from(MeasuringPoint, version.values)
    then.site = point.site
    tank = _at(versions_of(Tank, [then.tank_id]).get(then.tank_id, []), instant)
    product = _product_name(tank.values.get("product_id") if tank else None)
    transmitter, since = _installed(point, day, instant)
    now = Installation.objects.on_day(day).filter(point=point).select_related("transmitter").first()
    records = Calibration.objects.filter(point=point, approved_at__lte=instant, done_on__lte=day)
    return PastRegister(
        day=day,
        instant=instant,
        point=then,
        tank=str(tank.values["name"]) if tank else "",
        product=product,
        transmitter=transmitter,
        installed_since=since,
        transmitter_now=str(now.transmitter) if now else "",
        last_record=records.filter(entered_before(instant)).order_by("-done_on", "-id").first(),
    )


def entered_before(instant: dt.datetime) -> models.expressions.RawSQL:
    """A condition on records: they were entered by then. The column is the database's own, unknown
    to the model.
    """
    return models.expressions.RawSQL(
        "calibration_calibration.entered_at <= %s", [instant], output_field=models.BooleanField()
    )


def row_from(model: type[MeasuringPoint], values: dict[str, Any]) -> MeasuringPoint:
    """A row as an object that was never stored, from the text the database keeps of it."""
    fields = {field.attname: field for field in model._meta.concrete_fields}
    known = {
        name: fields[name].to_python(value) for name, value in values.items() if name in fields
    }
    generated = {name for name, field in fields.items() if getattr(field, "generated", False)}
    row = model(**{name: value for name, value in known.items() if name not in generated})
    for name in generated & known.keys():
        setattr(row, name, known[name])
    return row


def _at(versions: Iterable[Version], instant: dt.datetime) -> Version | None:
    return next((version for version in versions if version.held_at(instant)), None)


def _product_name(pk: int | None) -> str:
    return "" if pk is None else str(Product.objects.filter(pk=pk).first() or "")


def _installed(
    point: MeasuringPoint, day: dt.date, instant: dt.datetime
) -> tuple[str, dt.date | None]:
    """The transmitter there on the day, by what the register then said, and since when."""
    pks = list(Installation.objects.filter(point=point).values_list("pk", flat=True))
    for versions in versions_of(Installation, pks).values():
        version = _at(versions, instant)
        if version is None:
            continue
        since = dt.date.fromisoformat(version.values["installed_on"])
        until = version.values["removed_on"]
        if since <= day and (until is None or day < dt.date.fromisoformat(until)):
            transmitter = Transmitter.objects.get(pk=version.values["transmitter_id"])
            return str(transmitter), since
    return "", None
