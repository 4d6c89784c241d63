"""What happens to every request before anything of it is read."""

from __future__ import annotations

import time
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

GetResponse = Callable[[HttpRequest], HttpResponse]
SWALLOW_BYTES = 1024 * 1024 * 1024
SWALLOW_SECONDS = 10


def behind_proxy(get_response: GetResponse) -> GetResponse:
    """In production the sender is the last address the proxy added; only the proxy can reach us."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if settings.PRODUCTION:
            senders = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
            request.META["REMOTE_ADDR"] = senders[-1].strip() or request.META.get("REMOTE_ADDR", "")
        return get_response(request)

    return middleware


def refuse_null_characters(get_response: GetResponse) -> GetResponse:
    """No address or search holds a null character, and the database takes none: not found."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if "\x00" in request.path or "%00" in request.META.get("QUERY_STRING", ""):
            return render(request, "404.html", status=404)
        return get_response(request)

    return middleware


def refuse_large_bodies(get_response: GetResponse) -> GetResponse:
    """A body over the limit is refused by its announced length: nothing is kept or taken apart."""

    def middleware(request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdigit() or int(length) <= settings.UPLOAD_LIMIT:
            return get_response(request)
        _swallow(request, int(length))
        megabytes, limit = (
            int(length) / settings.MEGABYTE,
            settings.UPLOAD_LIMIT / settings.MEGABYTE,
        )
        reason = f"What you sent is {megabytes:.0f} MB; up to {limit:.0f} MB are accepted."
        response = render(request, "413.html", {"reason": reason}, status=413)
        response.headers["Connection"] = "close"
        return response

    return middleware


def _swallow(request: HttpRequest, length: int) -> None:
    """Take in what the browser is already sending, for a while: cut off, it would show no page at
    all.
    """
    give_up = time.monotonic() + SWALLOW_SECONDS
    left = min(length, SWALLOW_BYTES)
    source = request.META.get("wsgi.input")
    while source is not None and left > 0 and time.monotonic() < give_up:
        chunk = source.read(min(left, 64 * 1024))
        if not chunk:
            return
        left -= len(chunk)
