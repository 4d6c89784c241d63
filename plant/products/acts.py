"""Products: what the tanks hold."""

from __future__ import annotations

from django.db import transaction

from plant.ledger.writer import enter
from plant.people.models import Person
from plant.people.permissions import require
from plant.products.columns import PRODUCT
from plant.products.models import Product
from plant.saving import check, constraint_messages, locked, put


@transaction.atomic
def add(product: Product, *, by: Person) -> Product:
    require(by, "edit register", product.site_id)
    check(product)
    with constraint_messages():
        product.save()
    enter("add product", on=product, by=by)
    return product


@transaction.atomic
def change(product: Product, *, seen: str, by: Person) -> Product:
    require(by, "edit register", product.site_id)
    stored = locked(product, seen=seen, fields=PRODUCT.fields)
    changed = put(product, stored, PRODUCT.fields)
    check(stored)
    with constraint_messages():
        stored.save(update_fields=PRODUCT.fields)
    enter("change product", on=stored, by=by, details=changed)
    return stored
