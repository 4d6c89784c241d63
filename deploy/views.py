"""Pages of the installation itself, rather than of plant or calibration."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

OF_TABLETS = "/field/"  # its own page is the one address there that is not asked by a script


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A page for people. Tablets get an answer in JSON that their token grew old, and come again
    with a fresh one.
    """
    if request.path.startswith(OF_TABLETS) and request.path != OF_TABLETS:
        said = (
            "The page had grown old, so nothing was stored. It stays on the tablet; send it again."
        )
        return JsonResponse({"said": said, "token": "old"}, status=403)
    return render(request, "csrf_failure.html", status=403)
