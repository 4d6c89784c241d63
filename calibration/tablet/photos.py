"""Files of photos taken on a step: named by the hash that was signed, encoded anew, written under
made-up names.

What a camera writes beside the picture (place, device) goes; whatever else hides in such a file
goes with it.
"""

from __future__ import annotations

import hashlib
import io
import secrets
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageOps

from calibration import stored_files
from calibration.tablet.content import Photo, read
from calibration.tablet.models import FieldPhoto, FieldWork
from plant.refusals import Refused

LARGEST = 8 * 1024 * 1024
MOST_PIXELS = 50_000_000
TOO_MANY = "The photo has more than 50 megapixels. Take it again with fewer."
LONGEST_SIDE, SMALL_SIDE = 2560, 320
FORMATS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True)
class StoredPhoto:
    """The file of a photo: its name, and hash and size of its bytes."""

    name: str
    sha256: str
    size: int


def encoded(content: bytes, sha256: str) -> tuple[bytes, bytes]:
    """The picture as it is kept, and a small one. Refused where the bytes are not those of the
    hash, or no picture.
    """
    if len(content) > LARGEST:
        raise Refused("The photo is larger than 8 MB. Take it again in a lower resolution.")
    if hashlib.sha256(content).hexdigest() != sha256:
        raise Refused("The photo did not arrive as it was signed. It is sent again.")
    return _encoded(content)


def write(pictures: tuple[bytes, bytes]) -> StoredPhoto:
    """Write both files under a made-up name."""
    large, small = pictures
    name = f"{secrets.token_hex(16)}.jpg"
    stored_files.write(_folder() / name, large)
    stored_files.write(_folder() / small_name(name), small)
    return StoredPhoto(name, hashlib.sha256(large).hexdigest(), len(large))


def remove(name: str) -> None:
    """Remove both files of a photo that no row names."""
    for each in (name, small_name(name)):
        (_folder() / each).unlink(missing_ok=True)


def bytes_of(photo: FieldPhoto, *, small: bool) -> bytes:
    """The picture as it was stored. Refused when it is gone or was altered."""
    name = small_name(photo.stored_as) if small else photo.stored_as
    path = _folder() / Path(name).name
    content = stored_files.read(path, "" if small else photo.stored_sha256)
    if content is None:
        raise Refused("The photo is missing from the data folder. Restore it from the backup.")
    return content


def small_name(name: str) -> str:
    return f"{Path(name).stem}-small.jpg"


def named_in(work: FieldWork, sha256: str) -> Photo:
    """The photo as the content names it; as long as that is not here, its step is not known."""
    unknown = Photo(sha256, 0, None)
    if not work.content:
        return unknown
    try:
        photos = read(work.content).photos
    except Refused:  # a content that cannot be read was set aside; its photos belong to it
        return unknown
    named = next((photo for photo in photos if photo.sha256 == sha256), None)
    if named is None:
        raise Refused("The signed tablet record names no such photo.")
    return named


def _encoded(content: bytes) -> tuple[bytes, bytes]:
    """The picture and a small one, as JPEG without anything else. Its size is looked at before it
    is unpacked.
    """
    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as source:
            if source.width * source.height > MOST_PIXELS:
                raise Refused(TOO_MANY)
            # A camera's JPEG is unpacked at the size that is kept, not at its own.
            source.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            picture = ImageOps.exif_transpose(source).convert("RGB")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Refused(TOO_MANY) from error
    except (OSError, ValueError, SyntaxError) as error:
        raise Refused("This is no JPEG, PNG or WebP picture that can be read.") from error
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    small = picture.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return _jpeg(picture), _jpeg(small)


def _jpeg(picture: Image.Image) -> bytes:
    target = io.BytesIO()
    # A picture made from pixels alone: no marks of the first file go with it.
    clean = Image.new("RGB", picture.size)
    clean.paste(picture)
    clean.save(target, "JPEG", quality=85, optimize=True)
    return target.getvalue()


def _folder() -> Path:
    return stored_files.folder("photos")
