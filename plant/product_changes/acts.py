"""Another product in a tank, or the same at another temperature: told with its day, and kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet

from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.product_changes.models import ProductChange
from plant.products.models import Product
from plant.quantities import day_text, with_unit
from plant.refusals import Refused
from plant.saving import as_text, check, walls_speak
from plant.tanks.models import Tank


@transaction.atomic
def change_product(
    tank: Tank,
    *,
    product: Product | None,
    celsius: Decimal | None,
    on: dt.date,
    why: str,
    by: Person,
    at: dt.datetime,
) -> ProductChange:
    """From the day ``on`` the tank holds ``product`` at ``celsius``; the tank and its dated change
    in one.

    ``tank`` is as the person saw it: where somebody else has changed its product since, theirs is
    not written over.
    """
    require(by, "edit register", tank.site_id)
    stored = (
        Tank.objects.select_for_update(of=("self",))
        .select_related("site", "product")
        .get(pk=tank.pk)
    )
    if (stored.product_id, stored.product_c) != (tank.product_id, tank.product_c):
        raise Refused(
            f"Somebody else has changed what {stored} holds: now it is "
            f"{said(stored.product, stored.product_c)}. "
            "Look again at what your change does, then store it."
        )
    refuse_wrong(stored, product=product, celsius=celsius, on=on, today=stored.site.day_of(at))
    if not why.strip():
        raise Refused("Say why: an auditor will ask.", field="why")
    change = ProductChange(
        site_id=stored.site_id,
        tank=stored,
        on=on,
        product_before=stored.product,
        product=product,
        celsius_before=stored.product_c,
        celsius=celsius,
        why=why.strip(),
    )
    stored.product, stored.product_c = product, celsius
    check(stored)
    check(change)
    with walls_speak():
        change.save()
        stored.save(update_fields=["product", "product_c"])
    enter("change of product", on=stored, by=by, why=change.why, details=_told(change))
    return change


def said(product: Product | None, celsius: Decimal | None) -> str:
    """A tank's contents in words.

    >>> said(Product(name="palm olein"), Decimal("38.00")) == "palm olein at 38\\u00a0°C"
    True
    """
    name = product.name if product else "no product"
    return name if celsius is None else f"{name} at {with_unit(as_text(celsius), 'degC')}"


@dataclass(frozen=True)
class Told:
    """A change, with what the tank held after and before it in words."""

    change: ProductChange
    now: str
    before: str


def in_words(changes: QuerySet[ProductChange], most: int) -> list[Told]:
    """The latest ``most`` changes, for a page."""
    rows = changes.select_related("product", "product_before")[:most]
    return [
        Told(row, said(row.product, row.celsius), said(row.product_before, row.celsius_before))
        for row in rows
    ]


def refuse_wrong(
    tank: Tank, *, product: Product | None, celsius: Decimal | None, on: dt.date, today: dt.date
) -> None:
    """Refuse what changes nothing, a day still to come, or one before the last change. ``today``:
    the site's day.
    """
    if product is not None and product.site_id != tank.site_id:
        raise Refused("That product belongs to another site.", field="product_name")
    if (product, celsius) == (tank.product, tank.product_c):
        raise Refused(
            f"{tank} holds {said(product, celsius)} already; change the product or its temperature.",
            field="product_name",
        )
    if on > today:
        raise Refused("Enter it on the day itself: this day is still to come.", field="on")
    last = tank.product_changes.first()
    if last and on < last.on:
        raise Refused(
            f"{tank} holds {said(last.product, last.celsius)} since {day_text(last.on)}; a change "
            "before that day "
            "cannot be slipped in. Enter that day or a later one.",
            field="on",
        )


def _told(change: ProductChange) -> dict[str, object]:
    return {
        "since": change.on.isoformat(),
        "product": [str(change.product_before or ""), str(change.product or "")],
        "temperature, °C": [as_text(change.celsius_before), as_text(change.celsius)],
    }
