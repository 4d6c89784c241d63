"""The editor of procedures: a new one, or the next version; looked at first, then published.
Nothing is stored by a look.
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
    NewProcedureForm,
    ProcedureForm,
    VersionForm,
    filled_from,
    filled_from_shared,
)
from calibration.procedures.models import Procedure, ProcedureVersion
from calibration.procedures.step_forms import Steps, steps_of, with_room
from calibration.procedures.version_change import Content, compare
from calibration.procedures.views import require_approver
from plant.pages.requests import SignedRequest
from plant.pages.saving import sent
from plant.refusals import NotAllowed, Refused

PAGE = "calibration/procedures/procedure_edit.html"


Look = Callable[[Content], dict[str, Any]]
Publish = Callable[[Content], Procedure]


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: SignedRequest, key: str) -> HttpResponse:
    """The next version of a procedure, by an approver."""
    require_approver(request.user)
    procedure = get_object_or_404(Procedure, key=key)
    version = procedure.versions.first()
    if version is None:
        raise Http404("nothing is published")
    form, steps = _forms(request, ProcedureForm, *filled_from(version))
    context = {
        "procedure": procedure,
        "version": version,
        "next": version.number + 1,
        "form": form,
        "steps": steps,
    }
    content = _content(form, steps, version.content, shape=version.shape)
    return _answer(
        request,
        form,
        context,
        content,
        look=lambda content: _look_at_revision(version, form, content),
        publish=lambda content: _revise(request, procedure, form, content),
    )


def _look_at_revision(
    version: ProcedureVersion, form: VersionForm, content: Content
) -> dict[str, Any]:
    acts.check_based_on(version, form.cleaned_data["based_on"])
    shown, steps = acts.draft(version.procedure, content, number=version.number + 1)
    return {
        "procedure": version.procedure,
        "shown": shown,
        "steps": steps,
        "change": compare(version.content, content),
    }


def _revise(
    request: SignedRequest, procedure: Procedure, form: VersionForm, content: Content
) -> Procedure:
    typed = {name: form.cleaned_data[name] for name in ("based_on", "reason")}
    acts.revise(procedure, content, **typed, by=request.user, on=timezone.now().date())
    messages.success(request, "The new version is published; jobs started from now on follow it.")
    return procedure


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: SignedRequest) -> HttpResponse:
    """A new procedure: from what all delivered ones share, or from a copy of ``?from=`` one."""
    require_approver(request.user)
    source = _source(request.GET.get("from", ""))
    before, values, rows = _copied(source) if source else _from_shared()
    form, steps = _forms(request, NewProcedureForm, values, rows)
    context = {
        "next": 1,
        "form": form,
        "steps": steps,
        "source": source,
        "every": list(Procedure.objects.all()),
    }
    shape = form.cleaned_data.get("shape", "") if form.is_bound and form.is_valid() else ""
    content = _content(form, steps, before, shape=shape)
    return _answer(
        request,
        form,
        context,
        content,
        look=lambda content: _look_at_new(form, content),
        publish=lambda content: _create(request, form, content),
    )


Start = tuple[Content, dict[str, Any], list[dict[str, Any]]]


def _copied(source: ProcedureVersion) -> Start:
    values, rows = filled_from(source)
    values |= {"shape": source.shape, "principles": source.procedure.principles}
    return source.content, values, rows


def _from_shared() -> Start:
    shared = delivered.shared()
    before = Content("", (), False, 0, steps=[*shared.before, *shared.after])
    return before, *filled_from_shared(shared)


def _look_at_new(form: VersionForm, content: Content) -> dict[str, Any]:
    row = acts.draft_procedure(**_named(form))
    shown, steps = acts.draft(row, content)
    return {"procedure": row, "shown": shown, "steps": steps}


def _create(request: SignedRequest, form: VersionForm, content: Content) -> Procedure:
    version = acts.create(
        **_named(form),
        content=content,
        reason=form.cleaned_data["reason"],
        by=request.user,
        on=timezone.now().date(),
    )
    messages.success(
        request, "The procedure is published; a planner can name it at a measuring point."
    )
    return version.procedure


def _named(form: VersionForm) -> dict[str, Any]:
    return {name: form.cleaned_data[name] for name in ("key", "name", "principles")}


def _forms(
    request: SignedRequest,
    form: type[VersionForm],
    values: dict[str, Any],
    rows: list[dict[str, Any]],
) -> tuple[VersionForm, Any]:
    """The form above the steps, and the forms of the steps."""
    data = sent(request)
    return (
        form(data, initial=values, is_looked_at=_is_look(request)),
        Steps(with_room(data), initial=rows, prefix="step"),
    )


def _answer(
    request: SignedRequest,
    form: VersionForm,
    context: dict[str, Any],
    content: Content | None,
    *,
    look: Look,
    publish: Publish,
) -> HttpResponse:
    """Publish, or show the form again with what was typed: beside what it would become, or with
    what is wrong.
    """
    status = 422 if form.is_bound else 200
    if content:
        try:
            if not _is_look(request):
                return redirect(publish(content))
            context["seen"] = look(content)
            status = 200
        except NotAllowed:
            raise
        except Refused as refusal:
            form.refuse(refusal)
    form.fields["reason"].required = True  # of what is typed next
    return render(request, PAGE, context, status=status)


def _content(form: VersionForm, steps: Any, before: Content, *, shape: str) -> Content | None:
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
