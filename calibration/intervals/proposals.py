"""Proposals as the nightly pass stores them, whole sets at once; people decide in acts.py."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, NamedTuple

import numpy as np
from django.db import connection, transaction
from numpy.typing import ArrayLike

from calibration.arrays import BigInts, Floats, Ints, execute, literal
from calibration.intervals.models import Proposal
from plant.importing.staging import copy_into

ROUNDING = 0.0005  # of a probability: a tenth of a per cent is what pages show


# ---- offered by the nightly pass ----
@dataclass(frozen=True, slots=True)
class Offer:
    """A new interval for one point. months_now: the interval it was computed for. in_tolerance:
    probability at the end of each, None where the method does not say. reasons: as
    calibration.intervals.reasons words them."""

    point_id: int
    site_id: int
    method: str
    months_now: int
    months: int
    in_tolerance_now: float | None
    in_tolerance: float | None
    reasons: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class Offers:
    """Many offers in columns, fields as in Offer, NaN for a probability that the method does not
    say.
    """

    point_id: np.ndarray
    site_id: np.ndarray
    method: np.ndarray
    months_now: np.ndarray
    months: np.ndarray
    in_tolerance_now: np.ndarray
    in_tolerance: np.ndarray
    reasons: np.ndarray  # of lists

    def __len__(self) -> int:
        return len(self.point_id)

    @classmethod
    def of(cls, rows: Iterable[Offer]) -> Offers:
        listed = list(rows)

        def column(name: str, kind: Any) -> np.ndarray:
            return np.array([getattr(row, name) for row in listed], dtype=kind)

        whole = {
            name: column(name, np.int64) for name in ("point_id", "site_id", "months_now", "months")
        }
        real = {name: column(name, float) for name in ("in_tolerance_now", "in_tolerance")}
        reasons = np.empty(len(listed), dtype=object)
        reasons[:] = [row.reasons for row in listed]
        return cls(**whole, **real, method=column("method", str), reasons=reasons)

    @classmethod
    def joined(cls, parts: Sequence[Offers]) -> Offers:
        if len(parts) == 1:
            return parts[0]
        return cls(
            *(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(cls))
        )

    def some(self, which: np.ndarray) -> Offers:
        return Offers(*(getattr(self, f.name)[which] for f in fields(self)))


ReasonsOf = Callable[[Offers], list[list[dict[str, Any]]]]


class Counts(NamedTuple):
    """made: new proposals. renewed: those that stand, with other figures. replaced: those that no
    longer hold.
    """

    made: int
    renewed: int
    replaced: int


ONE_PASS_AT_A_TIME = 738_201  # the number of an advisory lock: two passes at once would offer twice
WAITS = "state IN ('open', 'agreed')"
OFFERED = """
    unnest(%(point)s, %(now)s, %(months)s, %(method)s::text[], %(p_now)s, %(p)s)
        AS o (point_id, months_now, months, method, p_now, p)
"""
NO_LONGER_HOLD = f"""
    UPDATE calibration_proposal p SET state = 'replaced' FROM {OFFERED}
    WHERE p.point_id = o.point_id AND p.{WAITS}
        AND (p.months, p.months_now) <> (o.months, o.months_now)
"""  # noqa: S608 - parts written above
# What is to be written: nearly nothing on most nights, so that the reasons travel for these rows
# only.
TO_WRITE = f"""
    SELECT o.point_id, w.id FROM {OFFERED}
    JOIN plant_measuringpoint m ON m.id = o.point_id AND m.interval_months = o.months_now
        AND m.out_of_service_on IS NULL
    LEFT JOIN calibration_proposal w ON w.point_id = o.point_id AND w.{WAITS}
    WHERE CASE WHEN w.id IS NOT NULL THEN w.method <> o.method
            OR abs(w.in_tolerance - o.p) > %(rounding)s OR (w.in_tolerance IS NULL) <> (o.p IS NULL)
            OR abs(w.in_tolerance_now - o.p_now) > %(rounding)s
            OR (w.in_tolerance_now IS NULL) <> (o.p_now IS NULL)
        ELSE NOT EXISTS (
            SELECT FROM calibration_proposal d
            WHERE d.point_id = o.point_id AND d.state = 'declined'
                AND (d.months, d.months_now) = (o.months, o.months_now) AND NOT EXISTS (
                    SELECT FROM calibration_calibration c WHERE c.point_id = d.point_id
                        AND c.state = 'approved' AND c.approved_at > d.decided_at))
        END
"""  # noqa: S608 - parts written above
RENEW = f"""
    UPDATE calibration_proposal p
    SET method = n.method, in_tolerance_now = n.p_now, in_tolerance = n.p,
        reasons = n.reasons::jsonb
    FROM unnest(%(id)s, %(method)s::text[], %(p_now)s, %(p)s, %(reasons)s::text[])
        AS n (id, method, p_now, p, reasons)
    WHERE p.id = n.id AND p.{WAITS}
"""  # noqa: S608 - parts written above
WITHDRAW = f"""
    UPDATE calibration_proposal SET state = 'replaced'
    WHERE point_id = ANY(%(points)s) AND {WAITS}
"""  # noqa: S608 - parts written above


@transaction.atomic
def offer(
    rows: Offers | Collection[Offer], *, at: dt.datetime, reasons_of: ReasonsOf | None = None
) -> Counts:
    """Bring what waits for these points in line with ``rows``, a row a point; set by set, for a
    whole fleet at once.

    What no longer holds is replaced; what stands stays, and its figures are renewed where they
    moved by more than rounding; the rest is made new. An offer of the interval that holds already
    takes back what waits. What a planner declined is not offered again until a later record of the
    point is approved. No entry in the ledger: nothing is decided here, and the rows and their
    history show each change. reasons_of: gives the reasons of the rows that are written, in one go;
    without it each row brings its own.
    """
    offers = rows if isinstance(rows, Offers) else Offers.of(rows)
    reasons_of = reasons_of or (lambda some: some.reasons.tolist())
    changes = offers.months != offers.months_now
    replaced = withdraw(offers.point_id[~changes])
    wanted = offers.some(changes)
    if not len(wanted):
        return Counts(0, 0, replaced)
    params: dict[str, Any] = {**_columns(wanted), "rounding": ROUNDING}
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_PASS_AT_A_TIME])
        execute(cursor, NO_LONGER_HOLD, params)
        replaced += cursor.rowcount
        execute(cursor, TO_WRITE, params)
        to_write: dict[int, int | None] = dict(cursor.fetchall())
    waiting = [to_write.get(pk, 0) for pk in wanted.point_id.tolist()]
    renew = np.array([place for place, pk in enumerate(waiting) if pk], dtype=int)
    make = np.array([place for place, pk in enumerate(waiting) if pk is None], dtype=int)
    if renew.size:
        _renew(wanted.some(renew), [waiting[place] or 0 for place in renew], reasons_of)
    if make.size:
        _make(wanted.some(make), reasons_of, at=at)
    return Counts(len(make), len(renew), replaced)


def _renew(rows: Offers, ids: list[int], reasons_of: ReasonsOf) -> None:
    """Give the proposals of these ids the figures and reasons of ``rows``."""
    reasons = [_as_json(one) for one in reasons_of(rows)]
    with connection.cursor() as cursor:
        execute(cursor, RENEW, {**_columns(rows), "id": BigInts.of(ids), "reasons": reasons})


@transaction.atomic
def withdraw(point_ids: ArrayLike) -> int:
    """Take back what waits for these points, since there is nothing to offer; returns how many."""
    points = np.asarray(point_ids, dtype=np.int64)
    if not points.size:
        return 0
    with connection.cursor() as cursor:
        execute(cursor, WITHDRAW, {"points": BigInts.of(points)})
        return cursor.rowcount


def _make(rows: Offers, reasons_of: ReasonsOf, *, at: dt.datetime) -> None:
    """Should an interval be set in this very moment, its proposal cannot be accepted, and the next
    pass replaces it.
    """
    rows = rows.some(np.argsort(-rows.point_id))  # lists show what came last first
    copy_into(
        "calibration_proposal",
        {
            "site_id": rows.site_id.tolist(),
            "point_id": rows.point_id.tolist(),
            "made_at": [at] * len(rows),
            "method": rows.method.tolist(),
            "months_now": rows.months_now.tolist(),
            "months": rows.months.tolist(),
            "in_tolerance_now": [_finite(p) for p in rows.in_tolerance_now.tolist()],
            "in_tolerance": [_finite(p) for p in rows.in_tolerance.tolist()],
            "reasons": [_as_json(some) for some in reasons_of(rows)],
            "state": [Proposal.State.OPEN.value] * len(rows),
            "why": [""] * len(rows),
        },
    )


def _columns(rows: Offers) -> dict[str, Any]:
    return {
        "point": BigInts.of(rows.point_id),
        "method": literal(rows.method.tolist()),
        "now": Ints.of(rows.months_now),
        "months": Ints.of(rows.months),
        "p_now": Floats.of(rows.in_tolerance_now),
        "p": Floats.of(rows.in_tolerance),
    }


def _as_json(reasons: list[dict[str, Any]]) -> str:
    """JSON has no word for what is not a number: such a figure is left empty, and the page leaves
    it out.
    """
    try:
        return json.dumps(reasons, allow_nan=False)
    except ValueError:
        return json.dumps([{key: _finite(value) for key, value in one.items()} for one in reasons])


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
