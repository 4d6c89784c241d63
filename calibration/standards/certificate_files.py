"""The files of certificates: kept under the name of their content, so that none is ever overwritten
or altered.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from calibration import stored_files as kept_files
from plant.refusals import Refused

LARGEST = 10 * 1024 * 1024
# First bytes, ending, type: what the content is, whatever the file's name says.
KINDS = (
    (b"%PDF-", "pdf", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "png", "image/png"),
    (b"\xff\xd8\xff", "jpg", "image/jpeg"),
)


@dataclass(frozen=True)
class KeptFile:
    stored_as: str
    file_name: str
    sha256: str


def keep(content: bytes, name: str) -> KeptFile:
    """Store ``content`` and say where. The same content is stored once.

    Refused: larger than 10 MB, or neither PDF, PNG nor JPEG by its content.
    """
    if len(content) > LARGEST:
        size = len(content) / 1024 / 1024
        raise Refused(
            f"The file has {size:.1f} MB; up to 10 MB are kept. Scan it in fewer dots.",
            field="file",
        )
    ending = next((ending for start, ending, _ in KINDS if content.startswith(start)), None)
    if ending is None:
        raise Refused(
            "This is no PDF, PNG or JPEG file by its content. Save it as one of these.",
            field="file",
        )
    digest = hashlib.sha256(content).hexdigest()
    kept_files.write(_folder() / f"{digest}.{ending}", content)
    return KeptFile(f"{digest}.{ending}", _clean(name), digest)


def read(stored_as: str, sha256: str) -> bytes:
    """The content as it was kept. Refused when it is gone or no longer the same."""
    path = _folder() / Path(stored_as).name
    if not path.is_file():
        raise Refused(
            "The certificate's file is missing from the data folder. Restore it from the backup."
        )
    content = kept_files.read(path, sha256)
    if content is None:
        raise Refused(
            "The certificate's file was altered after it was stored. Restore it from the backup."
        )
    return content


def content_type(stored_as: str) -> str:
    return next(
        (t for _, ending, t in KINDS if stored_as.endswith(f".{ending}")),
        "application/octet-stream",
    )


def _folder() -> Path:
    return kept_files.folder("certificates")


def _clean(name: str) -> str:
    """The name for the download: its last part, without control signs."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable())[-120:] or "certificate"
