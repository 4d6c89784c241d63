"""Works as a tablet has them ready, put on it and sent from it: what the tests of sending share."""

from __future__ import annotations

import base64
import io
import random
import re
from typing import Any

from django.utils import timezone
from PIL import Image

from calibration.tablet.packs import register_columns, register_sha
from tests.calibration.tablet.field_works import a_content, a_pack_job, sha_of, text_of
from tests.makers import a_job, a_procedure, an_equipped_point

FILL = """async (works) => {
  const { openStore } = await import("/static/field/store.js");
  const { refresh } = await import("/static/field/outbox.js");
  const store = await openStore();
  for (let tries = 0; !store.me; tries += 1) await refresh(store).catch(() => null);
  const bytesOf = (photo) => Uint8Array.from(atob(photo.base64), (letter) => letter.charCodeAt(0));
  for (const { photos, ...work } of works) {
    for (const photo of photos) {
      await store.addPhoto(work.submission, new Blob([bytesOf(photo)], { type: "image/png" }));
    }
    await store.keep({ ...work, state: "ready" });
  }
}"""
# As a technician would: sign what is ready, again where that failed, and let the outbox send until
# nothing is left.
SEND = """async (most) => {
  const { openStore } = await import("/static/field/store.js");
  const { flush, sign } = await import("/static/field/outbox.js");
  const store = await openStore();
  for (let rounds = 0; rounds < most; rounds += 1) {
    const works = await store.works();
    const ready = works.filter((work) => work.state === "ready").map((work) => work.submission);
    if (ready.length) await sign(store, ready, "correct horse");
    if (works.every((work) => work.state === "sent" && !work.answer.photos_missing.length)) break;
    await flush(store);
  }
  return (await store.works()).map((work) => [work.state, work.trouble, work.answer?.photos_missing?.length]);
}"""


def a_photo(number: int) -> dict[str, Any]:
    """A picture of some 12 kB that no other is like."""
    noise = random.Random(number).randbytes(64 * 64 * 3)  # noqa: S311 - a picture, no secret
    kept = io.BytesIO()
    Image.frombytes("RGB", (64, 64), noise).save(kept, "PNG")
    content = kept.getvalue()
    return {
        "sha256": sha_of(content),
        "base64": base64.b64encode(content).decode(),
        "bytes": len(content),
    }


def works_of(count: int, technician, *, photos: int = 0) -> list[dict[str, Any]]:
    """Works done on so many points, as a tablet would have them ready, each with so many photos on
    its step 6.
    """
    now = timezone.now()
    a_procedure()
    first = a_pack_job(a_job(an_equipped_point("LT-101A"), by=technician), by=technician, at=now)
    made = []
    for n in range(count):
        point = an_equipped_point(f"LT-{200 + n}")
        device = point.installations.get().transmitter
        register = register_columns(point, device)
        packed = first | {
            "id": a_job(point, by=technician).pk,
            "register": register,
            "register_sha": register_sha(register),
            "transmitter": {"id": device.pk},
        }
        taken = [a_photo(photos * n + each) for each in range(photos)]
        named = [
            {
                "sha256": p["sha256"],
                "step": 6,
                "taken_at": now.isoformat(),
                "type": "image/png",
                "bytes": p["bytes"],
            }
            for p in taken
        ]
        content = a_content(packed, at=now, found=[0.1 + 0.001 * n] * 9, photos=named)
        text = text_of(content)
        facts = {"submission": content["submission"], "job": packed["id"], "content": text}
        # What the page shows of a work on the device comes from the facts it was begun with.
        begun = {
            "begun_at": now.isoformat(),
            "facts": {"job": packed, "pack_made_at": packed["made_at"]},
        }
        made.append(facts | begun | {"sha256": sha_of(text), "photos": taken})
    return made


def address_of(live_server) -> tuple[str, int]:
    host, port = re.match(r"http://(.+):(\d+)", live_server.url).groups()
    return host, int(port)
