"""Plates and states: the marks that plant and calibration pages share."""

from __future__ import annotations

from django import template
from django.forms import BoundField
from django.utils.html import format_html
from django.utils.safestring import SafeString

from plant.points.models import MeasuringPoint
from plant.points.status import Status
from plant.points.tolerance_texts import tolerance_texts

register = template.Library()

RING = '<circle cx="12" cy="12" r="9"/>'
# A state is word + shape + colour: kind -> (tone, shape). Kinds that can meet in one column never
# share a shape.
STATES: dict[str, tuple[str, SafeString]] = {
    kind: (tone, SafeString(f'<svg viewBox="0 0 24 24" aria-hidden="true">{shape}</svg>'))
    for kind, tone, shape in (
        ("ok", "good", RING),
        ("empty", "bad", '<path d="M5 5l14 14M19 5 5 19"/>'),
        ("untested", "bad", '<path class="solid" d="M12 2 22 12 12 22 2 12z"/>'),
        ("question", "bad", '<path d="M3 8c3-5 6-5 9 0s6 5 9 0M3 17c3-5 6-5 9 0s6 5 9 0"/>'),
        ("soon", "warn", RING + '<path class="solid" d="M12 3a9 9 0 0 1 0 18z"/>'),
        ("over", "bad", '<path class="solid" d="M12 3 22 21H2z"/>'),
        ("bad", "bad", '<path class="solid" d="M12 3 22 21H2z"/>'),
        ("doubt", "warn", '<path d="M3 8c3-5 6-5 9 0s6 5 9 0M3 17c3-5 6-5 9 0s6 5 9 0"/>'),
        ("deferred", "calm", '<path d="M12 2 22 12 12 22 2 12z"/>'),
        ("off", "calm", RING + '<path d="M6 12h12"/>'),
        ("plan", "calm", '<path d="M4 4h16v16H4z"/>'),
        ("hand", "live", '<path d="M4 4h16v16H4z"/><path class="solid" d="M4 12h16v8H4z"/>'),
        ("sent", "live", '<path d="M4 4h16v16H4z"/><path class="solid" d="M9 9h6v6H9z"/>'),
        ("done", "good", '<path class="solid" d="M4 4h16v16H4z"/>'),
        ("back", "warn", '<path d="M10 4 3 11l7 7M3 11h11a7 7 0 0 1 7 7v2"/>'),
        ("open", "bad", RING + '<path class="solid" d="M12 8a4 4 0 1 1 0 8 4 4 0 0 1 0-8z"/>'),
    )
}


@register.filter
def tolerances(point: MeasuringPoint) -> list[str]:
    """``{{ point|tolerances|join:", " }}``: its tolerance in every unit that makes sense."""
    return tolerance_texts(point)


@register.simple_tag
def state(kind: str, text: str) -> SafeString:
    """``{% state "ok" "in service" %}``: word + shape + colour. Kinds: the keys of STATES.

    An unknown kind is shown plainly rather than failing the page.
    """
    tone, shape = STATES.get(kind, STATES["plan"])
    return format_html('<span class="state {}">{}{}</span>', tone, shape, text)


@register.simple_tag
def status(shown: Status) -> SafeString:
    """``{% status point.status_now %}``: the word with its shape and colour, and what stands beside
    it.
    """
    beside = format_html(' <span class="soft">{}</span>', shown.beside) if shown.beside else ""
    return format_html("{}{}", state(shown.kind, shown.text), beside)


@register.simple_tag
def plate(tag: str, url: str = "") -> SafeString:
    """``{% plate tag url %}``: the tag on its engraved plate, a link when there is a page."""
    if url:
        return format_html('<a class="plate" href="{}">{}</a>', url, tag)
    return format_html('<span class="plate">{}</span>', tag)


@register.filter
def field_unit(bound: BoundField) -> str:
    """The unit a form field shows beside its control (widget attribute ``data-unit``)."""
    return str(bound.field.widget.attrs.get("data-unit", ""))
