"""The products' file: a row is a product of the site."""

from __future__ import annotations

from plant.importing.columns import Layout, Parsed
from plant.importing.importer import Context, Importer, Outcome
from plant.importing.rows import Plan, compare
from plant.products.columns import PRODUCT
from plant.products.models import Product

PRODUCTS = Layout(key=("name",), columns=PRODUCT.columns())
FIELDS = tuple(column.field for column in PRODUCTS.columns)


def _check(parsed: Parsed, context: Context) -> Outcome:
    stored = {(row.name,): row for row in Product.objects.filter(site=context.site)}
    return compare(parsed, FIELDS, stored=stored, fresh=lambda place: Product(site=context.site))


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    plan: Plan = outcome.plan
    Product.objects.bulk_create(plan.new, batch_size=500)
    Product.objects.bulk_update(plan.changed, FIELDS, batch_size=500)


PRODUCT_IMPORTER = Importer(PRODUCTS, _check, _write)
