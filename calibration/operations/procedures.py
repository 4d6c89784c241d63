"""Procedures: a published version never changes; a change is a new version with its reason."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from calibration.models import Procedure, ProcedureStep, ProcedureVersion

SEEDS = Path(__file__).resolve().parent.parent / "seeds" / "procedures.json"


@transaction.atomic
def publish(
    procedure: Procedure,
    *,
    way: str,
    percents: Sequence[Decimal],
    up_and_down: bool,
    settle_seconds: int,
    steps: Sequence[tuple[str, str]],
    reason: str,
    on: dt.date,
) -> ProcedureVersion:
    """Publish the next version; ``steps`` are (kind, text) in order, ``percents`` the test points, rising."""
    procedure = Procedure.objects.select_for_update().get(pk=procedure.pk)
    latest = procedure.versions.first()
    version = ProcedureVersion(
        procedure=procedure,
        number=latest.number + 1 if latest else 1,
        way=way,
        percents=list(percents),
        up_and_down=up_and_down,
        settle_seconds=settle_seconds,
        reason=reason,
    )
    version.full_clean()
    version.save()
    ProcedureStep.objects.bulk_create(
        ProcedureStep(version=version, number=n, kind=kind, text=text)
        for n, (kind, text) in enumerate(steps, 1)
    )
    version.published_on = on
    version.save(update_fields=["published_on"])
    return version


def load_seeds(*, on: dt.date) -> int:
    """Publish the procedures that come with Spanbook and are not there yet; returns how many."""
    seeds: dict[str, Any] = json.loads(SEEDS.read_text(encoding="utf-8"))
    known = set(Procedure.objects.values_list("key", flat=True))
    new = [seed for seed in seeds["procedures"] if seed["key"] not in known]
    for seed in new:
        with transaction.atomic():
            procedure = Procedure.objects.create(
                key=seed["key"], name=seed["name"], principles=seed["principles"]
            )
            publish(
                procedure,
                way=seed["way"],
                percents=[Decimal(str(p)) for p in seed["percents"]],
                up_and_down=seed["up_and_down"],
                settle_seconds=seed["settle_seconds"],
                steps=[
                    step
                    for part in seed["steps"]
                    for step in (
                        [tuple(s) for s in seeds["blocks"][part]]
                        if isinstance(part, str)
                        else [tuple(part)]
                    )
                ],
                reason="as delivered; edit it to the site's own rules",
                on=on,
            )
    return len(new)
