"""The attributes of a product: its form and its columns in the products' file."""

from __future__ import annotations

from plant.columns import Attribute, Attributes
from plant.products.models import Product

COLDEST, HOTTEST = -100, 600
"""°C that a cell may hold; beyond them it is a slip of the pen."""

PRODUCT = Attributes(
    Product,
    Attribute("name", "product", required=True, examples=("palm olein", "lye 32 %")),
    Attribute("conducts", "conducts", examples=("no", "yes")),
    Attribute("permittivity", "permittivity", least=1, examples=("3.05",)),
    Attribute(
        "permittivity_c",
        "permittivity at",
        least=COLDEST,
        most=HOTTEST,
        units=("°C",),
        examples=("40",),
        label="permittivity holds at",
    ),
    Attribute(
        "permittivity_per_k",
        "permittivity per K",
        examples=("-0.004",),
        label="change of permittivity",
        unit="per K",
    ),
    Attribute(
        "density",
        "density",
        above=0,
        units=("kg/m3",),
        examples=("900", "1349"),
        label="density",
        unit="kg/m³",
    ),
    Attribute(
        "density_c",
        "density at",
        least=COLDEST,
        most=HOTTEST,
        units=("°C",),
        examples=("40", "20"),
        label="density holds at",
    ),
    Attribute(
        "density_per_k",
        "density per K",
        examples=("-0.68",),
        label="change of density",
        unit="kg/m³ per K",
    ),
)
