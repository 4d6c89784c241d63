"""Files of the data folder that are written once and never changed: certificates, photos."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from django.conf import settings


def folder(name: str) -> Path:
    made = Path(settings.DATA) / name
    made.mkdir(mode=0o750, parents=True, exist_ok=True)
    return made


def write(path: Path, content: bytes) -> None:
    """Whole or not at all: a half-written file never carries the name. A file that is there already
    stays.
    """
    if path.exists():
        return
    with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as half:
        half.write(content)
        half.flush()
        os.fsync(half.fileno())
    Path(half.name).replace(path)


def read(path: Path, sha256: str = "") -> bytes | None:
    """None where it is gone, or is not the content of that hash any more."""
    content = path.read_bytes() if path.is_file() else None
    if content is not None and sha256 and hashlib.sha256(content).hexdigest() != sha256:
        return None
    return content
