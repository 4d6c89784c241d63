"""What a page says, however the lines of its templates are broken."""

from __future__ import annotations

import re

from django.http import HttpResponse


def folded(page: HttpResponse | str) -> str:
    """Its markup with white space folded, none between two tags and none just inside an element."""
    text = re.sub(r"[ \t\r\n]+", " ", page if isinstance(page, str) else page.content.decode())
    return re.sub(r"(<[a-z][^>]*>) | (?=</)|(?<=>) (?=<)", r"\1", text)
