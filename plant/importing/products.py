"""The products' file: a row is a product of the site."""

from __future__ import annotations

from plant.importing import values as v
from plant.importing.columns import Column, Layout, Parsed
from plant.importing.importer import Context, Importer, Outcome
from plant.importing.rows import Plan, compare
from plant.products.models import Product

_celsius = v.decimal(4, 2, least=-100, most=600)
PRODUCTS = Layout(
    key=("name",),
    columns=(
        Column("product", "name", v.name(80), required=True),
        Column("conducts", "conducts", v.yes_no),
        Column("permittivity", "permittivity", v.decimal(4, 3, least=1)),
        Column("permittivity at", "permittivity_c", _celsius, units=("°C",)),
        Column("permittivity per K", "permittivity_per_k", v.decimal(3, 5)),
        Column("density", "density", v.decimal(6, 2, above=0), units=("kg/m3",)),
        Column("density at", "density_c", _celsius, units=("°C",)),
        Column("density per K", "density_per_k", v.decimal(4, 4)),
    ),
    examples=(
        {
            "product": "palm olein",
            "conducts": "no",
            "permittivity": "3.05",
            "permittivity at": "40",
            "permittivity per K": "-0.004",
            "density": "900",
            "density at": "40",
            "density per K": "-0.68",
        },
        {"product": "lye 32 %", "conducts": "yes", "density": "1349", "density at": "20"},
    ),
)
FIELDS = tuple(column.field for column in PRODUCTS.columns)


def _check(parsed: Parsed, context: Context) -> Outcome:
    stored = {(row.name,): row for row in Product.objects.filter(site=context.site)}
    return compare(parsed, FIELDS, stored=stored, fresh=lambda place: Product(site=context.site))


def _write(parsed: Parsed, outcome: Outcome, context: Context) -> None:
    plan: Plan = outcome.plan
    Product.objects.bulk_create(plan.new, batch_size=500)
    Product.objects.bulk_update(plan.changed, FIELDS, batch_size=500)


PRODUCT_IMPORTER = Importer(PRODUCTS, _check, _write)
