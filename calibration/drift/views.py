"""Jumps that ask for a cause: the list, one with its drift, the answer."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from calibration.drift import acts
from calibration.drift.forms import AnswerForm
from calibration.drift.models import JumpQuestion
from calibration.drift.pages import drift_context
from calibration.pages import require_sight
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted, form_page, page, sent
from plant.people.permissions import may, require

STATES = {"open": "no cause yet", "answered": "cause noted", "all": "all"}


@require_safe
def jump_list(request: SignedRequest) -> HttpResponse:
    """Results that do not go with the others of their history; those without a cause first."""
    require_sight(request.user)
    state = request.GET.get("state", "open")
    state = state if state in STATES else "open"
    seen = JumpQuestion.objects.seen_by(request.user).select_related("point__tank", "record")
    narrowed = {"open": seen.open(), "answered": seen.exclude(cause=""), "all": seen}[state]
    listed = Paginator(narrowed, 50).get_page(request.GET.get("page"))
    context = {"rows": listed.object_list, "page": listed, "state": state, "states": STATES}
    return render(request, "calibration/drift/step_list.html", context)


@form_page
def jump(request: SignedRequest, pk: int) -> HttpResponse:
    """One jump beside the drift of its point; and its cause."""
    known = JumpQuestion.objects.seen_by(request.user).select_related(
        "site", "point__site", "point__tank", "record", "answered_by"
    )
    question = get_object_or_404(known, pk=pk)
    if request.method == "POST":
        require(request.user, "answer step", question.site_id)
    form, now = AnswerForm(sent(request)), timezone.now()
    if accepted(form, lambda: acts.answer(question, **form.cleaned_data, by=request.user, at=now)):
        messages.success(request, "The cause is noted and the drift computed again.")
        return redirect(question)
    point = question.point
    context = {
        "question": question,
        "may_answer": may(request.user, "answer step", question.site_id),
        **drift_context(point, request.GET, end=question.end, today=point.site.day_of(now)),
    }
    return page(request, "calibration/drift/step.html", form, **context)
