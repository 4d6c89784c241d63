"""Signing and receiving by the operations themselves."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from calibration.tablet import acts as field
from calibration.tablet.models import FieldWork
from plant.people.models import Person
from tests.calibration.tablet.field_works import sha_of, text_of


def sign(content: dict[str, Any], *, by: Person, at: dt.datetime, ahead=dt.timedelta(0), **more):
    work = field.ToSign(uuid.UUID(content["submission"]), content["job"], sha_of(text_of(content)))
    return field.sign([work], device="Tablet 3", device_at=at + ahead, by=by, at=at, **more)


def receive(content: dict[str, Any], *, by: Person, at: dt.datetime) -> FieldWork:
    work, _ = field.receive(uuid.UUID(content["submission"]), text_of(content), by=by, at=at)
    return work
