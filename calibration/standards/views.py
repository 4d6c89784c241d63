"""Reference standards: which may be used, which lapse soon, what each certificate is behind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import Case, Count, F, IntegerField, QuerySet, Value, When
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from calibration.pages import require_sight
from calibration.records.jobs_served import jobs_served
from calibration.records.models import StandardUse
from calibration.standards import acts, certificate_files
from calibration.standards.cover import STATES, Cover, cover_of
from calibration.standards.forms import CertificateForm, StandardForm, WithdrawForm
from calibration.standards.models import ReferenceStandard, StandardCertificate
from plant.pages.requests import SignedRequest
from plant.pages.saving import sent
from plant.people.models import Person
from plant.people.permissions import may, require
from plant.refusals import NotAllowed, Refused

FORM = "calibration/standards/standard_form.html"


@require_safe
def standard_list(request: SignedRequest) -> HttpResponse:
    """The standards of my sites by the day their certificate ends: the first to lapse on top."""
    require_sight(request.user)
    rows = _covers(_seen_by(request.user))
    counts = {key: sum(row.key == key for row in rows) for key in STATES}
    asked = request.GET.get("state", "")
    text = request.GET.get("q", "").strip()
    shown = [row for row in rows if asked in ("", row.key) and _matches(row.standard, text)]
    return render(
        request,
        "calibration/standards/standard_list.html",
        {
            "rows": shown,
            "any": bool(rows),
            "counts": [(key, words[1], counts[key]) for key, words in STATES.items()],
            "asked": asked,
            "text": text,
            "may_add": bool(request.user.site_ids("add standard")),
        },
    )


@require_safe
def standard(request: SignedRequest, pk: int) -> HttpResponse:
    """One standard: its certificates, and every record that rests on them."""
    row = _standard(request, pk)
    today = row.site.day_of(timezone.now())
    uses = StandardUse.objects.filter(standard=row).select_related("record", "certificate")
    return render(
        request,
        "calibration/standards/standard.html",
        {
            "standard": row,
            "standing": cover_of(row, today),
            "certificates": list(row.certificates.annotate(times_used=Count("uses"))),
            "jobs": jobs_served(row),
            "uses": list(uses.order_by("-record__done_on", "-record_id")[:50]),
            "today": today,
            "may_add": may(request.user, "add standard", row.site_id),
            "may_withdraw": may(request.user, "approve", row.site_id),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def add(request: SignedRequest) -> HttpResponse:
    if not request.user.site_ids("add standard"):
        raise NotAllowed("Only a technician or a planner adds standards. Ask one of them.")
    form = StandardForm(sent(request), person=request.user)

    def store() -> HttpResponse:
        kept = acts.add(form.save(commit=False), by=request.user)
        messages.success(
            request, f"{kept} is saved. Enter its certificate: without one it cannot be used."
        )
        return redirect("calibration:certificate_new", pk=kept.pk)

    return _answer(request, form, store, FORM, {})


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: SignedRequest, pk: int) -> HttpResponse:
    row = _standard(request, pk)
    require(request.user, "add standard", row.site_id)
    form = StandardForm(sent(request), instance=row, person=request.user)

    def store() -> HttpResponse:
        acts.change(form.save(commit=False), by=request.user)
        messages.success(request, "The change is saved.")
        return redirect("calibration:standard", pk=pk)

    return _answer(request, form, store, FORM, {"standard": row})


@require_http_methods(["GET", "HEAD", "POST"])
def add_certificate(request: SignedRequest, pk: int) -> HttpResponse:
    """Enter a certificate, with its file when there is one."""
    row = _standard(request, pk)
    require(request.user, "add standard", row.site_id)
    certificate = StandardCertificate(standard=row)
    form = CertificateForm(sent(request), request.FILES or None, instance=certificate)

    def store() -> HttpResponse:
        kept = form.save(commit=False)
        if file := form.cleaned_data.get("file"):
            stored = certificate_files.keep(file.read(certificate_files.LARGEST + 1), file.name)
            kept.stored_as, kept.file_name, kept.file_sha256 = (
                stored.stored_as,
                stored.file_name,
                stored.sha256,
            )
        acts.add_certificate(kept, by=request.user)
        messages.success(request, f"Certificate {kept.number} is saved.")
        return redirect(row)

    return _answer(
        request, form, store, "calibration/standards/certificate_form.html", {"standard": row}
    )


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: SignedRequest, pk: int) -> HttpResponse:
    """Take a standard out of use; an approver's act."""
    row = _standard(request, pk)
    return _withdraw(request, row, row, acts.withdraw)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw_certificate(request: SignedRequest, pk: int) -> HttpResponse:
    """Take back what a certificate says; an approver's act."""
    certificate = _certificate(request, pk)
    return _withdraw(request, certificate, certificate.standard, acts.withdraw_certificate)


@require_safe
def certificate_file(request: SignedRequest, pk: int) -> HttpResponse:
    """The scan, always as a download: nothing that was uploaded is ever shown by this site
    itself.
    """
    certificate = _certificate(request, pk)
    if not certificate.stored_as:
        raise Http404("no file")
    try:
        content = certificate_files.read(certificate.stored_as, certificate.file_sha256)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect(certificate.standard)
    return HttpResponse(
        content,
        content_type=certificate_files.content_type(certificate.stored_as),
        headers={
            "Content-Disposition": f'attachment; filename="{_download_name(certificate)}"',
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "default-src 'none'; sandbox",
        },
    )


def _download_name(certificate: StandardCertificate) -> str:
    """Standard and number, in signs that every system takes."""
    name = "".join(
        sign if sign.isascii() and (sign.isalnum() or sign in " -_") else "-"
        for sign in f"{certificate.standard.name} {certificate.number}"
    )
    return f"{name}.{certificate.stored_as.rpartition('.')[2]}"


def _answer(
    request: SignedRequest,
    form: Any,
    store: Callable[[], HttpResponse],
    template: str,
    more: dict[str, Any],
) -> HttpResponse:
    """Store what a valid form says, or show it again with what was refused."""
    if form.is_bound and form.is_valid():
        try:
            return store()
        except NotAllowed:
            raise
        except Refused as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
    return render(request, template, more | {"form": form}, status=422 if form.is_bound else 200)


def _withdraw(
    request: SignedRequest, thing: Any, standard: ReferenceStandard, act: Callable[..., Any]
) -> HttpResponse:
    require(request.user, "approve", standard.site_id)
    today = standard.site.day_of(timezone.now())
    form = WithdrawForm(sent(request), initial={"on": today})
    used = StandardUse.objects.filter(**{_name(thing): thing})

    def store() -> HttpResponse:
        act(thing, **form.cleaned_data, by=request.user)
        messages.success(request, f"{thing} is withdrawn. Look at the records that rest on it.")
        return redirect(standard)

    return _answer(
        request,
        form,
        store,
        "calibration/standards/standard_withdraw.html",
        {"thing": thing, "standard": standard, "used": used.count()},
    )


def _name(thing: Any) -> str:
    return "standard" if isinstance(thing, ReferenceStandard) else "certificate"


def _standard(request: SignedRequest, pk: int) -> ReferenceStandard:
    return get_object_or_404(_seen_by(request.user), pk=pk)


def _certificate(request: SignedRequest, pk: int) -> StandardCertificate:
    known = StandardCertificate.objects.select_related("standard__site")
    return get_object_or_404(known, pk=pk, standard__site__in=request.user.site_ids("see"))


def _covers(standards: QuerySet[ReferenceStandard]) -> list[Cover]:
    """The first to lapse on top, what is withdrawn last."""
    withdrawn_last = Case(
        When(withdrawn_on=None, then=Value(0)), default=Value(1), output_field=IntegerField()
    )
    ordered = standards.order_by(withdrawn_last, F("ends_on").asc(nulls_first=True), "name")
    now = timezone.now()
    return [cover_of(standard, standard.site.day_of(now)) for standard in ordered]


def _seen_by(person: Person) -> QuerySet[ReferenceStandard]:
    seen = ReferenceStandard.objects.seen_by(person).select_related("site", "holder")
    return seen.with_end(timezone.now().date())


def _matches(standard: ReferenceStandard, text: str) -> bool:
    fields = (standard.name, standard.kind, standard.maker, standard.model, standard.serial)
    return not text or any(text.lower() in field.lower() for field in fields)
