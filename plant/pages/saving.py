"""What the register's views share: run an operation, and put what it refuses into the form."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from plant.ledger.models import LedgerEntry
from plant.pages.requests import SignedRequest
from plant.people.refusals import roles_for
from plant.refusals import NotAllowed, Refused

Done = TypeVar("Done")
form_page = require_http_methods(["GET", "HEAD", "POST"])
"""Marks the view of a page with a form; pages without one are ``require_safe``."""
OFFERED = 300
"""Names offered while typing; more of them would only make the page heavy."""


def sent(request: HttpRequest) -> QueryDict | None:
    """What was posted; None for a page that is only looked at."""
    return request.POST if request.method == "POST" else None


def sites_for(request: SignedRequest, act: str) -> list[int]:
    """The sites on which this person may do ``act``; a page about all of them is refused where
    there is none.
    """
    sites = request.user.site_ids(act)
    if not sites:
        raise NotAllowed(
            f"Only {roles_for(act)} may open this page. Ask an administrator to appoint you."
        )
    return sites


def attempt(form: forms.BaseForm, act: Callable[[], Done]) -> Done | None:
    """The result of ``act``; None when it was refused, and then the form says why beside the
    field.
    """
    try:
        return act()
    except NotAllowed:
        raise
    except Refused as refusal:
        if hasattr(form, "refuse"):
            form.refuse(refusal)
        else:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return None


def accepted(form: forms.BaseForm, act: Callable[[], object]) -> bool:
    """Whether the form was sent, is in order, and ``act`` went through; ``act`` may use its
    ``cleaned_data``.
    """
    return form.is_bound and form.is_valid() and attempt(form, act) is not None


def page(request: HttpRequest, template: str, form: forms.BaseForm, **context: Any) -> HttpResponse:
    """The page of a form; a form that was sent and is shown again answers 422."""
    if getattr(form, "versions", None):
        context["changed_last"] = _last_change(form)
    status = 422 if form.is_bound else 200
    return render(request, template, {"form": form, **context}, status=status)


def _last_change(form: Any) -> LedgerEntry | None:
    row = form.instance
    return LedgerEntry.objects.filter(
        subject_kind=row._meta.verbose_name, subject_id=row.pk
    ).first()
