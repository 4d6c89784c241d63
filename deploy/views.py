"""Pages of the installation itself, rather than of plant or calibration."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return render(request, "csrf_failure.html", status=403)
