"""Two intervals side by side on one scale of years: the one that holds, and the one proposed."""

from __future__ import annotations

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from plant.quantities import probability_text, short_probability_text

register = template.Library()
register.filter("chance", lambda share: "" if share is None else probability_text(share))
register.filter(
    "short_chance", lambda share: "" if share is None else short_probability_text(share)
)
register.filter("hundredths", lambda share: 100 * share)

LENGTH = 120.0
PAIR = (
    '<svg class="lengths" viewBox="0 0 124 26" role="img" aria-label="{}"><path class="years" '
    'd="{}"/>'
    '<rect class="now" x="1.5" y="4" width="{}" height="7" rx="1.5"/>'
    '<rect class="then" x="1" y="14.5" width="{}" height="8" rx="1.5"/></svg>'
)


@register.simple_tag
def lengths(now: int, then: int, longest: int) -> SafeString:
    """``{% lengths now then longest %}``: months; the scale ends at ``longest``, the longest on the
    page.
    """
    ends = max(now, then, longest, 1)
    step = LENGTH / ends
    years = "".join(f"M{2 + 12 * year * step:.1f} 1V25" for year in range(ends // 12 + 1))
    words = f"{now} months now, {then} months proposed"
    widths = (f"{months * step:.1f}" for months in (now, then))
    return format_html(PAIR, words, SafeString(years), *widths)
