"""What a technician types into the calibration form, as the browser would send it."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from calibration.standards.models import ReferenceStandard
from tests.makers import TODAY, a_certified_standard, a_procedure, a_run


def typed(
    found: list[float] | None = None, left: list[float] | None = None, **more: Any
) -> dict[str, Any]:
    """Nine as-found readings (errors in % of span) on 0.3 to 8.3 m, one standard; ``more`` replaces
    or adds fields.
    """
    found = [0.1] * 9 if found is None else found
    standard = ReferenceStandard.objects.first() or a_certified_standard()
    return {
        "submission": str(uuid.uuid4()),
        "procedure": a_procedure().pk,
        "cautions_read": "on",
        "done_on": TODAY.isoformat(),
        "way": "wetted level by dip",
        "ambient_c": "21.5",
        "standards": [standard.pk],
        "no_as_found_reason": "",
        "note": "",
        **_rows("stands", a_run([found[0] if found else 0.0])),
        **_rows("found", a_run(found)),
        **_rows("left", a_run(left or [])),
        **({"adjust-zero-done": "on"} if left else {}),
        **more,
    }


def _rows(key: str, readings: list) -> dict[str, Any]:
    sent: dict[str, Any] = {f"{key}-rows": max(len(readings), 1)}
    for n, reading in enumerate(readings):
        sent |= {
            f"{key}-{n}-applied": _text(reading.applied),
            f"{key}-{n}-observed": _text(reading.observed),
            f"{key}-{n}-way_up": "rising" if reading.rising else "falling",
            f"{key}-{n}-run": 1,
        }
    return sent


def _text(number: Decimal) -> str:
    return f"{number:f}"
