"""The editor of procedures: a new one, or the next version; seen first, then published. Nothing is
stored by a look.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from calibration.procedures import acts, delivered
from calibration.procedures.forms import (
    FactsForm,
    NewProcedureForm,
    ProcedureForm,
    Steps,
    filled_from,
    filled_from_shared,
    steps_of,
    with_room,
)
from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.version_change import Content, compare
from calibration.procedures.views import require_approver
from plant.pages.requests import SignedRequest
from plant.pages.saving import sent
from plant.refusals import NotAllowed, Refused

PAGE = "calibration/procedures/procedure_edit.html"


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: SignedRequest, key: str) -> HttpResponse:
    """The next version of a procedure, by an approver."""
    require_approver(request.user)
    found = get_object_or_404(Procedure, key=key)
    version = found.versions.first()
    if version is None:
        raise Http404("nothing is published")
    before = acts.content_of(version)
    facts, rows = filled_from(version)
    data = sent(request)
    form = ProcedureForm(data, initial=facts, is_looked_at=_is_look(request))
    steps = Steps(with_room(data), initial=rows, prefix="step")

    def look(content: Content) -> dict[str, Any]:
        acts.check_based_on(version, form.cleaned_data["based_on"])
        shown, drafted = acts.draft(found, content, number=version.number + 1)
        return {
            "procedure": found,
            "shown": shown,
            "steps": drafted,
            "change": compare(before, content),
        }

    def publish(content: Content) -> Procedure:
        facts = {name: form.cleaned_data[name] for name in ("based_on", "reason")}
        acts.revise(found, content, **facts, by=request.user, on=timezone.now().date())
        messages.success(request, "The new version is published; jobs begun from now on follow it.")
        return found

    told = {
        "procedure": found,
        "version": version,
        "next": version.number + 1,
        "form": form,
        "steps": steps,
    }
    content = _content(form, steps, before, shape=version.shape)
    return _answer(request, form, told, content, look=look, publish=publish)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: SignedRequest) -> HttpResponse:
    """A new procedure: from what all delivered ones share, or from a copy of ``?from=`` one."""
    require_approver(request.user)
    source = _source(request.GET.get("from", ""))
    if source:
        before = acts.content_of(source)
        facts, rows = filled_from(source)
        facts |= {"shape": source.shape, "principles": source.procedure.principles}
    else:
        shared = delivered.shared()
        before = Content("", (), False, 0, steps=[*shared.before, *shared.after])
        facts, rows = filled_from_shared(shared)
    data = sent(request)
    form = NewProcedureForm(data, initial=facts, is_looked_at=_is_look(request))
    steps = Steps(with_room(data), initial=rows, prefix="step")

    def named() -> dict[str, Any]:
        return {name: form.cleaned_data[name] for name in ("key", "name", "principles")}

    def look(content: Content) -> dict[str, Any]:
        row = acts.drafted_row(**named())
        shown, drafted = acts.draft(row, content)
        return {"procedure": row, "shown": shown, "steps": drafted}

    def publish(content: Content) -> Procedure:
        version = acts.create(
            **named(),
            content=content,
            reason=form.cleaned_data["reason"],
            by=request.user,
            on=timezone.now().date(),
        )
        messages.success(
            request,
            "The procedure is published; a planner can name it at a measuring point.",
        )
        return version.procedure

    told = {
        "next": 1,
        "form": form,
        "steps": steps,
        "source": source,
        "every": list(Procedure.objects.all()),
    }
    shape = form.cleaned_data.get("shape", "") if data is not None and form.is_valid() else ""
    content = _content(form, steps, before, shape=shape)
    return _answer(request, form, told, content, look=look, publish=publish)


def _answer(
    request: SignedRequest,
    form: FactsForm,
    told: dict[str, Any],
    content: Content | None,
    *,
    look: Callable[[Content], dict[str, Any]],
    publish: Callable[[Content], Procedure],
) -> HttpResponse:
    """Publish, or show the form again with what was typed: beside what it would become, or with
    what is wrong.
    """
    status = 422 if form.is_bound else 200
    if content:
        try:
            if not _is_look(request):
                return redirect(publish(content))
            told["seen"] = look(content)
            status = 200
        except NotAllowed:
            raise
        except Refused as refusal:
            form.refuse(refusal)
    form.fields["reason"].required = True  # of what is typed next
    return render(request, PAGE, told, status=status)


def _content(form: FactsForm, steps: Any, before: Content, *, shape: str) -> Content | None:
    """What was typed; None where nothing was sent, or something is wrong. Both forms are asked, to
    say all at once.
    """
    if not form.is_bound or not all([form.is_valid(), steps.is_valid()]):
        return None
    return form.content(steps_of(steps, before.steps), shape=shape)


def _source(key: str) -> ProcedureVersion | None:
    if not key:
        return None
    version = (
        ProcedureVersion.objects.filter(procedure__key=key).select_related("procedure").first()
    )
    if version is None:
        raise Http404("no such procedure")
    return version


def _is_look(request: SignedRequest) -> bool:
    return request.method == "POST" and "look" in request.POST
