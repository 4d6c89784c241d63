"""The form of a product."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from plant.pages.forms import SiteForm, described_by
from plant.products.columns import PRODUCT
from plant.products.models import Product
from plant.sites.models import Site


def product_named(name: str | None, site: Site) -> Product | None:
    """The site's product of that name, however it is capitalised; None for no name. Raises
    ValidationError.
    """
    name = " ".join((name or "").split())
    if not name:
        return None
    product = Product.objects.filter(site=site, name__iexact=name).first()
    if product is None:
        raise ValidationError(
            f"{site} has no product “{name}”. Choose one offered, or add it first."
        )
    return product


class ProductForm(SiteForm):
    class Meta:
        model = Product
        fields = PRODUCT.fields
        formfield_callback = described_by(PRODUCT)
