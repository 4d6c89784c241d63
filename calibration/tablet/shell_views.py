"""The page of the guided job and its service worker: without any person's data, the same for all,
kept on tablets.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.finders import find, get_finders
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

STYLES = ("look.css", "parts.css", "pages.css", "print.css", "field.css")
# What modules name themselves is asked for under its plain name; what the page names, under the
# name with its hash.
BESIDE = ("readings.js", "limits.js", "livestrip.js")
OTHER = ("worker.js", "leave.js")


@login_not_required
@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """Rendered without the request: neither name nor message of anybody may be kept on the device
    with it.
    """
    return HttpResponse(_page())


@login_not_required
@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The worker's script. It changes, and so is taken anew by browsers, with any file of the
    page.
    """
    release, files = _release() if not settings.DEBUG else _release.__wrapped__()
    script = (
        f"self.RELEASE = {json.dumps(release)};\n"
        f"self.FILES = {json.dumps(files)};\n"
        f"importScripts({json.dumps(static('field/worker.js'))});\n"
    )
    response = HttpResponse(script, content_type="text/javascript; charset=utf-8")
    response.headers["Service-Worker-Allowed"] = "/field/"
    return response


def _page() -> str:
    """With all modules named up front: on a slow device asking for one after the other takes a
    second.
    """
    named = [settings.STATIC_URL + name for name in _modules() if name != "field/app.js"]
    return render_to_string("calibration/tablet/field.html", {"modules": named})


@lru_cache(maxsize=1)
def _modules() -> tuple[str, ...]:
    """All modules of the page, under the plain names by which they ask for each other."""
    own = sorted(
        name
        for finder in get_finders()
        for name, _ in finder.list([])
        if name.startswith("field/") and name.endswith(".js") and name.split("/")[-1] not in OTHER
    )
    return (*own, *BESIDE)


@lru_cache(maxsize=1)
def _release() -> tuple[str, list[str]]:
    """A name for the contents of all files, and their addresses."""
    plain = [settings.STATIC_URL + name for name in _modules()]
    named = [static(name) for name in ("field/app.js", *STYLES, "mark.svg")]
    content = hashlib.sha256(_page().encode())
    for name in (*_modules(), *STYLES, "mark.svg", "field/worker.js"):
        path = find(name)
        if path:
            with open(path, "rb") as file:
                content.update(file.read())
    return content.hexdigest()[:16], list(dict.fromkeys([*plain, *named]))
