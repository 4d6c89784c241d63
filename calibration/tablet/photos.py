"""Photos taken on a step: named by the hash that was signed, encoded anew, kept under made-up
names.

What a camera writes beside the picture (place, device) goes; whatever else hides in such a file
goes with it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import secrets
import uuid
from pathlib import Path
from typing import Any

from django.db import transaction
from PIL import Image, ImageOps

from calibration import stored_files as kept_files
from calibration.tablet.acts import NotSigned
from calibration.tablet.content import MOST_PHOTOS, Photo, read
from calibration.tablet.models import FieldPhoto, FieldWork
from plant.people.models import Person
from plant.refusals import Refused

LARGEST = 8 * 1024 * 1024
MOST_PIXELS = 50_000_000
TOO_MANY = "The photo has more than 50 megapixels. Take it again with fewer."
LONGEST_SIDE, SMALL_SIDE = 2560, 320
FORMATS = ("JPEG", "PNG", "WEBP")


def take_photo(
    submission: uuid.UUID, sha256: str, content: bytes, *, by: Person, at: dt.datetime
) -> bool:
    """Keep a photo of a signed work; True where it is new. Before the content has come any may be
    sent, up to 40.

    Refused: not named in the content, bytes of another hash, over 8 MB or 50 megapixels, no JPEG,
    PNG or WebP.
    """
    work = FieldWork.objects.filter(submission=submission, person=by).first()
    if work is None:
        raise NotSigned("This work was not signed by you. Sign it with your password, then send.")
    photo = _named(work, sha256)
    if FieldPhoto.objects.filter(work=work, sha256=sha256).exists():
        return False
    if len(content) > LARGEST:
        raise Refused("The photo is larger than 8 MB. Take it again in a lower resolution.")
    if hashlib.sha256(content).hexdigest() != sha256:
        raise Refused("The photo did not arrive as it was signed. It is sent again.")
    large, small = _encoded(content)
    name = f"{secrets.token_hex(16)}.jpg"
    paths = _folder() / name, _folder() / small_name(name)
    for path, picture in zip(paths, (large, small), strict=True):
        kept_files.write(path, picture)
    facts = {
        "sha256": sha256,
        "step": photo.step,
        "taken_at": photo.taken_at,
        "received_at": at,
        "stored_as": name,
        "stored_sha256": hashlib.sha256(large).hexdigest(),
        "size": len(large),
    }
    is_new = False
    try:
        is_new = _add(work, facts)
    finally:
        if not is_new:  # nothing names these files
            for path in paths:
                path.unlink(missing_ok=True)
    return is_new


@transaction.atomic
def _add(work: FieldWork, facts: dict[str, Any]) -> bool:
    """False where the same came at the same moment."""
    FieldWork.objects.select_for_update(no_key=True).get(pk=work.pk)
    rows = FieldPhoto.objects.filter(work=work)
    if rows.filter(sha256=facts["sha256"]).exists():
        return False
    if rows.count() >= MOST_PHOTOS:
        raise Refused(f"A work holds up to {MOST_PHOTOS} photos.")
    FieldPhoto.objects.create(work=work, **facts)
    return True


def bytes_of(photo: FieldPhoto, *, small: bool) -> bytes:
    """The picture as it was stored. Refused when it is gone or was altered."""
    name = small_name(photo.stored_as) if small else photo.stored_as
    path = _folder() / Path(name).name
    content = kept_files.read(path, "" if small else photo.stored_sha256)
    if content is None:
        raise Refused("The photo is missing from the data folder. Restore it from the backup.")
    return content


def small_name(name: str) -> str:
    return f"{Path(name).stem}-small.jpg"


def _named(work: FieldWork, sha256: str) -> Photo:
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
        raise Refused("The signed work names no such photo.")
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
    return kept_files.folder("photos")
