"""What the tablet asks of the server, in JSON: who is here, the pack, signing, sending, photos.

These answer a device, not a page: signed out is 401, not a way to the sign-in page, and each
refusal is a sentence under "said" that the tablet shows.
"""

from __future__ import annotations

import base64
import datetime as dt
import json
import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any

from axes.utils import reset
from django.contrib.auth import authenticate
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from calibration.tablet import acts, photos
from calibration.tablet.answers import answer_to
from calibration.tablet.models import FieldPhoto, FieldWork
from calibration.tablet.packs import pack as make_pack
from calibration.tablet.packs import person_columns
from calibration.tablet.refusals import NotAsSigned
from plant.pages.requests import SignedRequest
from plant.refusals import NotAllowed, Refused

LARGEST = 2 * 1024 * 1024
View = Callable[..., HttpResponse]


def for_device(view: View) -> View:
    """Signed out: 401. A refusal: 403 where a right or signature lacks, else 422. Kept by nobody on
    the way.
    """

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return _said(
                401, "You are signed out. Sign in again; what is on the tablet stays there."
            )
        try:
            return view(request, *args, **kwargs)
        except NotAsSigned as refusal:
            return _said(409, str(refusal))
        except NotAllowed as refusal:
            return _said(403, str(refusal))
        except Refused as refusal:
            return _said(422, str(refusal))
        except RequestDataTooBig:
            return _said(413, "This is more than a tablet record may hold (2 MB).")

    return login_not_required(never_cache(answer))


@login_not_required
@never_cache
@require_safe
def who(request: HttpRequest) -> JsonResponse:
    """Whose session this is, the token for the next send, the server's clock, and the release of
    the pages.
    """
    person = request.user if request.user.is_authenticated else None
    return JsonResponse(
        {
            "person": person and person_columns(person),
            "csrf": get_token(request),
            "now": timezone.now().isoformat(),
            "release": getattr(staticfiles_storage, "manifest_hash", ""),
        }
    )


@require_safe
@gzip_page
@for_device
def pack(request: SignedRequest) -> JsonResponse:
    now = timezone.now()
    content = make_pack(by=request.user, at=now)
    key = base64.b64encode(acts.sealing_key(request.user, at=now)).decode()
    return JsonResponse(content | {"key": key})


@require_POST
@for_device
def sign(request: SignedRequest) -> JsonResponse:
    """Sign works with the password entered again; it counts as a sign-in where it is wrong."""
    if not request.user.site_ids("calibrate"):
        raise NotAllowed(
            "Only a technician signs tablet records. Ask an administrator to appoint you."
        )
    asked = _asked(request)
    works, device_at = _works(asked), _moment(asked.get("device_at"))
    password = asked.get("password")
    if not isinstance(password, str):
        raise Refused("The password is missing.")
    wrong = _wrong_password(request, password)
    if wrong:
        return wrong
    now = timezone.now()
    device = str(asked.get("device") or "").replace("\x00", "")
    done = acts.sign(works, device=device, device_at=device_at, by=request.user, at=now)
    return JsonResponse(
        {
            "signed": [str(submission) for submission in done.signed],
            "refused": [{"submission": str(s), "said": said} for s, said in done.refused],
            "skew_seconds": round(done.skew_seconds, 1),
            "now": now.isoformat(),
        }
    )


@require_POST
@for_device
def work(request: SignedRequest, submission: uuid.UUID) -> JsonResponse:
    """Take in the text of a signed work: 201 stored, 202 set aside, 200 for the same again."""
    text = _body(request)
    received, is_new = acts.receive(submission, text, by=request.user, at=timezone.now())
    status = 200 if not is_new else 201 if received.state == FieldWork.State.STORED else 202
    return JsonResponse(answer_to(received), status=status)


@require_http_methods(["GET", "HEAD", "PUT"])
@for_device
def photo(request: SignedRequest, submission: uuid.UUID, sha256: str) -> HttpResponse:
    """Put a photo of a signed work; or see it, where one sees its site (?small for the list)."""
    if request.method == "PUT":
        if int(request.META.get("CONTENT_LENGTH") or 0) > photos.LARGEST:
            return _said(413, "The photo is larger than 8 MB. Take it again in a lower resolution.")
        content = request.read(photos.LARGEST + 1)
        is_new = acts.keep_photo(submission, sha256, content, by=request.user, at=timezone.now())
        return JsonResponse({"sha256": sha256}, status=201 if is_new else 200)
    kept = get_object_or_404(
        FieldPhoto,
        work__submission=submission,
        sha256=sha256,
        work__site__in=request.user.site_ids("see"),
    )
    response = HttpResponse(
        photos.bytes_of(kept, small="small" in request.GET), content_type="image/jpeg"
    )
    response.headers["Content-Disposition"] = f'inline; filename="step-{kept.step}-{kept.pk}.jpg"'
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


def _said(status: int, said: str) -> JsonResponse:
    return JsonResponse({"said": said}, status=status)


def _wrong_password(request: SignedRequest, password: str) -> JsonResponse | None:
    """The answer to a wrong one; counted like a failed sign-in of this person from this address."""
    username = request.user.get_username()
    person = authenticate(request, username=username, password=password)
    if person is not None and person.pk == request.user.pk:
        reset(ip=request.axes_ip_address, username=username)  # type: ignore[attr-defined]
        return None
    if getattr(request, "axes_locked_out", False):
        # The lock is answered here, as the tablet understands it, and not as a page.
        request.axes_locked_out = False  # type: ignore[attr-defined]
        return _said(429, "Too many wrong passwords. Nothing is lost; try again in 15 minutes.")
    return _said(403, "That is not your password. Nothing was signed.")


def _body(request: SignedRequest) -> str:
    if int(request.META.get("CONTENT_LENGTH") or 0) > LARGEST:
        raise RequestDataTooBig
    try:
        text = request.body.decode("utf-8")
    except UnicodeDecodeError:
        text = "\x00"
    if not text or "\x00" in text:
        raise Refused("What was sent cannot be read. It stays on the tablet; send it again.")
    return text


def _asked(request: SignedRequest) -> dict[str, Any]:
    try:
        asked = json.loads(_body(request))
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise Refused("What was sent cannot be read.")
    return asked


def _works(asked: dict[str, Any]) -> list[acts.ToSign]:
    rows = asked.get("works")
    if not isinstance(rows, list) or not 0 < len(rows) <= acts.MOST_SIGNED:
        raise Refused(f"Between 1 and {acts.MOST_SIGNED} tablet records are signed at once.")
    try:
        return [_work(row) for row in rows]
    except (TypeError, KeyError, ValueError, AttributeError):
        raise Refused(
            "A tablet record to sign needs its submission, its job and its hash."
        ) from None


def _work(row: Any) -> acts.ToSign:
    sha256 = row["sha256"]
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        raise ValueError("no hash")
    return acts.ToSign(uuid.UUID(row["submission"]), int(row["job"]), sha256)


def _moment(text: Any) -> dt.datetime:
    try:
        at = dt.datetime.fromisoformat(text)
    except (TypeError, ValueError):
        at = None
    if at is None or at.tzinfo is None:
        raise Refused("“device_at” must be a moment with its zone, as toISOString writes it.")
    return at
