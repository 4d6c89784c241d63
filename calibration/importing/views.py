"""Files on their way into the register: sent, checked, looked at, applied or withdrawn."""

from __future__ import annotations

import csv
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.importing.forms import ApplyForm, UploadForm
from calibration.importing.kinds import IMPORTERS, run_now
from calibration.tasks import run_waiting_imports
from plant.cells import csv_cell
from plant.columns import Column
from plant.importing import acts as imports
from plant.importing.models import ImportBatch
from plant.importing.templates import csv_template, xlsx_template
from plant.pages.paging import page_of
from plant.pages.requests import SignedRequest
from plant.pages.saving import accepted
from plant.parsers import OneOf, SomeOf
from plant.people.models import Person
from plant.people.permissions import may
from plant.refusals import NotAllowed, Refused

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TEMPLATES = {"csv": (csv_template, "text/csv; charset=utf-8"), "xlsx": (xlsx_template, XLSX)}
State = ImportBatch.ImportState
STATES = {
    State.WAITING: "plan",
    State.CHECKING: "hand",
    State.CHECKED: "sent",
    State.REFUSED: "bad",
    State.TO_APPLY: "plan",
    State.APPLYING: "hand",
    State.APPLIED: "done",
    State.WITHDRAWN: "off",
}
RUNNING = (State.WAITING, State.CHECKING, State.TO_APPLY, State.APPLYING)


def _seen_by(person: Person) -> QuerySet[ImportBatch]:
    """The imports of the sites whose ledger the person may read."""
    sites = person.site_ids("read ledger")
    if not sites:
        raise NotAllowed("Imports are seen by planners, approvers and auditors of a site.")
    rows = ImportBatch.objects.filter(site__in=sites)
    return rows.select_related("site", "uploaded_by", "applied_by")


@require_safe
def import_list(request: SignedRequest) -> HttpResponse:
    seen = _seen_by(request.user)
    page = page_of(seen, ["-pk"], query=request.GET, joined=seen, size=25)
    for batch in page.rows:
        batch.state_kind = STATES[batch.state]
        batch.is_counted = batch.rows_read and batch.state != State.REFUSED
    context = {"page": page, "may_import": bool(request.user.site_ids("import")), "kinds": _kinds()}
    return render(request, "calibration/importing/imports.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def import_new(request: SignedRequest) -> HttpResponse:
    if not request.user.site_ids("import"):
        raise NotAllowed(
            "Only a planner of a site may import. Ask one of them, or an administrator."
        )
    if request.method != "POST":
        asked = request.GET.get("kind")
        form = UploadForm(
            person=request.user, initial={"kind": asked} if asked in IMPORTERS else None
        )
        return render(
            request, "calibration/importing/import_new.html", {"form": form, "kinds": _kinds()}
        )
    form = UploadForm(request.POST, request.FILES, person=request.user)
    if form.is_valid():
        try:
            return redirect("calibration:import", pk=_receive(request, form).pk)
        except Refused as refusal:
            form.add_error(refusal.field, str(refusal))
    context = {"form": form, "kinds": _kinds()}
    return render(request, "calibration/importing/import_new.html", context, status=422)


def _receive(request: SignedRequest, form: UploadForm) -> ImportBatch:
    file = form.cleaned_data["file"]
    batch = imports.receive(
        file.chunks(),
        file_name=file.name,
        kind=form.cleaned_data["kind"],
        site=form.cleaned_data["site"],
        by=request.user,
        at=timezone.now(),
    )
    _next_step(batch)
    return batch


def _next_step(batch: ImportBatch) -> None:
    """A small file's step is done here and now; a large one is left to a worker."""
    if batch.size <= imports.AT_ONCE:
        run_now(batch, at=timezone.now())
    else:
        run_waiting_imports.delay_on_commit()


@require_safe
def import_page(request: SignedRequest, pk: int) -> HttpResponse:
    batch = get_object_or_404(_seen_by(request.user), pk=pk)
    return _page(request, batch, ApplyForm())


def _page(
    request: SignedRequest, batch: ImportBatch, form: ApplyForm, status: int = 200
) -> HttpResponse:
    mine = may(request.user, "import", batch.site_id)
    form.fields[
        "why"
    ].required = True  # shown where rows change; the operation asks for it in its own words
    problems = batch.problems.all()
    context = {
        "batch": batch,
        "state_kind": STATES[State(batch.state)],
        "is_running": batch.state in RUNNING,
        "page": page_of(problems, ["row"], query=request.GET, joined=problems, size=100),
        "form": form,
        "may_apply": mine and batch.state == State.CHECKED,
        "may_withdraw": mine and batch.state in (State.WAITING, State.CHECKED, State.REFUSED),
        "may_send": mine,
        "nothing_to_do": batch.state == State.CHECKED
        and not (batch.rows_new or batch.rows_changed),
    }
    return render(request, "calibration/importing/import.html", context, status=status)


@require_POST
def import_apply(request: SignedRequest, pk: int) -> HttpResponse:
    batch = get_object_or_404(_seen_by(request.user), pk=pk)
    form = ApplyForm(request.POST)
    if not accepted(
        form, lambda: imports.ask_to_apply(batch, **form.cleaned_data, by=request.user)
    ):
        return _page(request, batch, form, status=422)
    _next_step(batch)
    return redirect("calibration:import", pk=batch.pk)


@require_POST
def import_withdraw(request: SignedRequest, pk: int) -> HttpResponse:
    batch = get_object_or_404(_seen_by(request.user), pk=pk)
    try:
        imports.withdraw(batch, by=request.user)
        messages.success(request, f"{batch.file_name} is withdrawn; nothing of it was stored.")
    except NotAllowed:
        raise
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("calibration:import", pk=batch.pk)


@require_safe
def import_problems_csv(request: SignedRequest, pk: int) -> StreamingHttpResponse:
    """What is wrong with the file, to mend it beside the list."""
    batch = get_object_or_404(_seen_by(request.user), pk=pk)
    rows = batch.problems.values_list("row", "column", "value", "reason")
    writer = csv.writer(_Line())
    lines = (writer.writerow([csv_cell(cell) for cell in row]) for row in rows.iterator())
    header = "\ufeff" + writer.writerow(["row", "column", "value", "reason"])
    answer = StreamingHttpResponse(line for part in ([header], lines) for line in part)
    answer["Content-Type"] = "text/csv; charset=utf-8"
    answer["Content-Disposition"] = f'attachment; filename="import-{batch.pk}-problems.csv"'
    return answer


@require_safe
def template(request: SignedRequest, kind: str, fmt: str) -> HttpResponse:
    """An example file of a kind, to be filled in."""
    _seen_by(request.user)
    if kind not in IMPORTERS or fmt not in TEMPLATES:
        raise Http404
    write, content_type = TEMPLATES[fmt]
    answer = HttpResponse(write(IMPORTERS[kind].layout), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{kind}.{fmt}"'
    return answer


class _Line:
    """What csv.writer writes to: hands each line on instead of keeping it."""

    def write(self, text: str) -> str:
        return text


def _kinds() -> list[dict[str, Any]]:
    """Each kind of file with its columns, in the order in which a new site needs them."""
    return [
        {
            "key": key,
            "label": label,
            "columns": [_column(column) for column in IMPORTERS[key].layout.columns],
        }
        for key, label in ImportBatch.FileKind.choices
    ]


def _column(column: Column) -> dict[str, Any]:
    parse = column.parse
    words = ", ".join(parse.words) if isinstance(parse, OneOf | SomeOf) else ""
    units = f"or {', '.join(column.units[1:])}" if column.keeps_unit else ""
    return {
        "heading": column.heading,
        "required": column.required,
        "example": next(filter(None, column.examples), ""),
        "more": "; ".join(filter(None, (words, units))),
    }
