"""The results of a transmitter at one end of the range, as its page shows them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.records.models import Calibration
from plant.level.tolerance import Limits


@dataclass(frozen=True)
class Visit:
    """One result. found, left: as they stood, % of span; None where not read.

    value: with the adjustments taken out; None where the trend leaves the result out, since it was
    set aside, belongs to a time before a repair, or has another kind of input. out: beyond the
    tolerance as found. failed: the verdict as found was fail, be it of another reading. fresh: a
    new level begins there.
    """

    day: dt.date
    record: int
    value: float | None
    found: float | None
    left: float | None
    adjusted: bool
    out: bool
    failed: bool
    fresh: bool

    @property
    def is_counted(self) -> bool:
        return self.value is not None

    @property
    def is_moved(self) -> bool:
        """Adjusted, with both readings known."""
        return self.adjusted and self.found is not None and self.left is not None


def as_they_stood(
    point_id: int, transmitter_id: int, end: str, *, counted: Sequence[Visit], limits: Limits
) -> list[Visit]:
    """Every standing result of the transmitter at the point, in order of time (one query).

    counted: those that the trend rests on.
    """
    facts = ("done_on", "pk", f"found_at_{end}", f"left_at_{end}", "adjusted", "found_verdict")
    standing = Calibration.objects.standing().filter(point=point_id, transmitter=transmitter_id)
    rows = standing.order_by("done_on", "pk").values_list(*facts)
    visits = [_visit(*row, limits=limits) for row in rows]
    known = {visit.record: visit for visit in counted}
    return [_counted(visit, known.get(visit.record)) for visit in visits if visit.left is not None]


def _visit(
    day: dt.date,
    record: int,
    found: float | None,
    left: float | None,
    adjusted: bool,
    verdict: str,
    *,
    limits: Limits,
) -> Visit:
    return Visit(
        day=day,
        record=record,
        value=None,
        found=found,
        left=found if left is None else left,
        adjusted=adjusted,
        out=found is not None and not limits.holds(found),
        failed=verdict == "fail",
        fresh=False,
    )


def _counted(visit: Visit, own: Visit | None) -> Visit:
    return visit if own is None else replace(visit, value=own.value, fresh=own.fresh)
