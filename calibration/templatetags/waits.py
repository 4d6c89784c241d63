"""What waits for a person, at the top of the page where their day begins."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.http import HttpRequest
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from calibration.waiting.home import first_page
from calibration.waiting.reads import waits_of
from plant.people.sign_in import LAST_VISIT

register = template.Library()


@register.inclusion_tag("calibration/waiting/_waits.html", takes_context=True)
def waits(context: dict[str, Any]) -> dict[str, Any]:
    """``{% waits %}``: shown on the reader's first page only, and nothing on every other."""
    request: HttpRequest = context["request"]
    person, match = request.user, request.resolver_match
    if match is None or first_page(person) != match.view_name or request.GET:  # type: ignore[arg-type]
        return {"waits": None}
    return {"waits": waits_of(person, last_visit=_last_visit(request), at=timezone.now())}  # type: ignore[arg-type]


def _last_visit(request: HttpRequest) -> dt.datetime | None:
    return parse_datetime(request.session.get(LAST_VISIT, ""))
