"""Another product in a tank, or the same at another temperature: with its day, and kept."""

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
from plant.product_changes.refusals import ChangedContents, LaterChange, SameContents
from plant.products.models import Product
from plant.quantities import with_unit
from plant.refusals import DayToCome, OfAnotherSite, ReasonMissing
from plant.saving import as_text, check, constraint_messages
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
        contents = contents_text(stored.product, stored.product_c)
        raise ChangedContents(tank=stored, contents=contents)
    refuse_wrong(stored, product=product, celsius=celsius, on=on, today=stored.site.day_of(at))
    if not why.strip():
        raise ReasonMissing
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
    with constraint_messages():
        change.save()
        stored.save(update_fields=["product", "product_c"])
    enter("change of product", on=stored, by=by, why=change.why, details=_details(change))
    return change


def contents_text(product: Product | None, celsius: Decimal | None) -> str:
    """A tank's contents in words.

    >>> contents_text(Product(name="palm olein"), Decimal("38.00")) == "palm olein at 38\\u00a0°C"
    True
    """
    name = product.name if product else "no product"
    return name if celsius is None else f"{name} at {with_unit(as_text(celsius), 'degC')}"


@dataclass(frozen=True)
class ListedChange:
    """A change, with what the tank held after and before it in words."""

    change: ProductChange
    now: str
    before: str


def in_words(changes: QuerySet[ProductChange], most: int) -> list[ListedChange]:
    """The latest ``most`` changes, for a page."""
    rows = changes.select_related("product", "product_before")[:most]
    return [
        ListedChange(
            row,
            contents_text(row.product, row.celsius),
            contents_text(row.product_before, row.celsius_before),
        )
        for row in rows
    ]


def refuse_wrong(
    tank: Tank, *, product: Product | None, celsius: Decimal | None, on: dt.date, today: dt.date
) -> None:
    """Refuse what changes nothing, a day still to come, or one before the last change. ``today``:
    the site's day.
    """
    if product is not None and product.site_id != tank.site_id:
        raise OfAnotherSite(what="product", field="product_name")
    if (product, celsius) == (tank.product, tank.product_c):
        raise SameContents(tank=tank, contents=contents_text(product, celsius))
    if on > today:
        raise DayToCome
    last = tank.product_changes.first()
    if last and on < last.on:
        raise LaterChange(tank, contents_text(last.product, last.celsius), last.on)


def _details(change: ProductChange) -> dict[str, object]:
    return {
        "since": change.on.isoformat(),
        "product": [str(change.product_before or ""), str(change.product or "")],
        "temperature, °C": [as_text(change.celsius_before), as_text(change.celsius)],
    }
