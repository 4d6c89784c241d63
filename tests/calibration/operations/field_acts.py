"""Signing and receiving by the operations themselves, and several acts at once."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from typing import Any

from django.db import connections

from calibration.models import FieldWork
from calibration.operations import field
from plant.models import Person
from tests.calibration.field_works import sha_of, text_of


def sign(content: dict[str, Any], *, by: Person, at: dt.datetime, ahead=dt.timedelta(0), **more):
    work = field.ToSign(uuid.UUID(content["submission"]), content["job"], sha_of(text_of(content)))
    return field.sign([work], device="Tablet 3", device_at=at + ahead, by=by, at=at, **more)


def receive(content: dict[str, Any], *, by: Person, at: dt.datetime) -> FieldWork:
    work, _ = field.receive(uuid.UUID(content["submission"]), text_of(content), by=by, at=at)
    return work


def at_once(*acts):
    """Run the acts in threads of their own, begun together; what they gave or raised, in their order."""
    gate, got = threading.Barrier(len(acts)), [None] * len(acts)

    def run(n: int, act) -> None:
        gate.wait()
        try:
            got[n] = act()
        except Exception as error:
            got[n] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(n, act)) for n, act in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return got
