"""Jumps that ask for a cause: the list, one with its drift, the answer."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from calibration.drift import acts
from calibration.drift.forms import AnswerForm
from calibration.drift.models import JumpQuestion
from calibration.drift.pages import drift_context
from calibration.pages import require_sight
from plant.pages.requests import SignedRequest
from plant.people.permissions import may, require
from plant.refusals import Refused

STATES = {"open": "no cause yet", "answered": "cause noted", "all": "all"}


@require_safe
def jump_list(request: SignedRequest) -> HttpResponse:
    """Results that do not go with the others of their history; those without a cause first."""
    require_sight(request.user)
    state = request.GET.get("state", "open")
    state = state if state in STATES else "open"
    seen = JumpQuestion.objects.seen_by(request.user).select_related("point__tank", "record")
    narrowed = {"open": seen.open(), "answered": seen.exclude(cause=""), "all": seen}[state]
    page = Paginator(narrowed, 50).get_page(request.GET.get("page"))
    context = {"rows": page.object_list, "page": page, "state": state, "states": STATES}
    return render(request, "calibration/drift/step_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def jump(request: SignedRequest, pk: int) -> HttpResponse:
    """One jump beside the drift of its point; and its cause."""
    known = JumpQuestion.objects.seen_by(request.user).select_related(
        "site", "point__site", "point__tank", "record", "answered_by"
    )
    question = get_object_or_404(known, pk=pk)
    form, status = AnswerForm(), 200
    if request.method == "POST":
        require(request.user, "answer step", question.site_id)
        form, status = AnswerForm(request.POST), 422
        if form.is_valid():
            try:
                acts.answer(question, **form.cleaned_data, by=request.user, at=timezone.now())
            except Refused as refusal:
                form.add_error(refusal.field, str(refusal))
            else:
                messages.success(request, "The cause is noted and the drift computed again.")
                return redirect(question)
    point = question.point
    context = {
        "question": question,
        "form": form,
        "may_answer": may(request.user, "answer step", question.site_id),
        **drift_context(point, end=question.end, today=point.site.day_of(timezone.now())),
    }
    return render(request, "calibration/drift/step.html", context, status=status)
