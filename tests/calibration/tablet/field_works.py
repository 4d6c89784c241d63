"""Works as a tablet makes them, for tests: the facts of a pack, filled in; signed and sent over
real addresses.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from typing import Any

from django.test import Client

from calibration.jobs.models import Job
from calibration.standards.models import ReferenceStandard
from calibration.tablet.packs import pack
from plant.people.models import Person
from tests.makers import a_certified_standard, a_procedure, a_run

PASSWORD = "correct horse"


def a_pack_job(job: Job, *, by: Person, at: dt.datetime) -> dict[str, Any]:
    """The job as the pack of ``by`` tells it, and when the pack was made."""
    made = pack(by=by, at=at)
    packed = next(one for one in made["jobs"] if one["id"] == job.pk)
    return packed | {"made_at": made["made_at"]}


def a_content(
    packed: dict[str, Any],
    *,
    found: list[float] | None = None,
    left: list[float] | None = None,
    at: dt.datetime,
    **more: Any,
) -> dict[str, Any]:
    """What the tablet would sign: every step done, five points up and down, one standard."""
    version = a_procedure()
    standard = ReferenceStandard.objects.filter(site=packed["site"]).first()
    standard = standard or a_certified_standard()
    found = [0.1] * 9 if found is None else found
    ends = {"lower": packed["register"]["lower"], "upper": packed["register"]["upper"]}
    rows = [
        *a_run(found[:1] or [0.1], "as it stands", **ends),
        *a_run(found, **ends),
        *a_run(left or [], "as left", **ends),
    ]
    stamp = at.isoformat()
    return {
        "format": 1,
        "submission": str(uuid.uuid4()),
        "job": packed["id"],
        "register": packed["register"],
        "register_sha": packed["register_sha"],
        "pack_made_at": packed["made_at"],
        "transmitter": packed["transmitter"] and packed["transmitter"]["id"],
        "procedure_version": version.pk,
        "way": version.way,
        "done_on": at.date().isoformat(),
        "started_at": stamp,
        "finished_at": stamp,
        "ambient_c": "21.5",
        "product_c": None,
        "note": "",
        "no_as_found_reason": "",
        "standards": [standard.pk],
        "readings": [
            {
                "stage": r.stage,
                "run": 1,
                "sequence": r.sequence,
                "rising": r.rising,
                "applied": str(r.applied),
                "observed": str(r.observed),
                "indication": None,
                "origin": "read",
                "read_at": stamp,
            }
            for r in rows
        ],
        "adjustments": [{"kind": "zero", "before": "4.1", "after": "4", "note": "", "at": stamp}]
        if left
        else [],
        "adjust_reason": "",
        "steps": [
            {
                "number": step.number,
                "key": step.key,
                "kind": step.kind,
                "done_at": stamp,
                "answers": [],
                "note": "",
                "skipped_why": "",
            }
            for step in version.steps.all()
        ],
        "photos": [],
        "device": {"label": "Tablet 3", "agent": "test"},
    } | more


def text_of(content: dict[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False)


def sha_of(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def sign(
    client: Client,
    *contents: dict[str, Any],
    at: dt.datetime,
    password: str = PASSWORD,
    **more: Any,
):
    """Sign over the address; ``at``: the tablet's clock."""
    works = [
        {"submission": c["submission"], "job": c["job"], "sha256": sha_of(text_of(c))}
        for c in contents
    ]
    body = {
        "password": password,
        "device": "Tablet 3",
        "device_at": at.isoformat(),
        "works": works,
    } | more
    return client.post("/field/sign/", json.dumps(body), content_type="application/json")


def send(client: Client, content: dict[str, Any], *, text: str | None = None):
    return client.post(
        f"/field/works/{content['submission']}/",
        text_of(content) if text is None else text,
        content_type="application/json",
    )
