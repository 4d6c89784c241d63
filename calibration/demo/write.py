"""The demo as files: one CSV a site and kind as Spanbook imports them, what they cannot carry, and the truth put in."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from typing import Any

from calibration.demo import stories
from calibration.demo.histories import History, Hung, Visit, history_of
from calibration.demo.scenario import (
    AS_OF,
    GRACE,
    PEOPLE,
    PRODUCTS,
    SEED,
    SITES,
    TANKS,
    Point,
    TankKind,
    points,
)  # fmt: skip
from calibration.demo.standards import LABORATORY, STANDARDS, certificates_of

Row = dict[str, Any]


def build(seed: int = SEED) -> dict[str, str]:
    """Every file of the demo: its name and its text. The same seed gives the same bytes."""
    histories = [history_of(point, seed=seed) for point in points(seed)]
    files = {
        "sites.csv": table(
            dict(zip(("code", "name", "time zone", "crew hours"), row, strict=True))
            for row in SITES
        ),
        "people.csv": table(
            dict(zip(("user name", "name", "role", "sites"), row, strict=True)) for row in PEOPLE
        ),
        "truth.csv": table(_truth(hung) for history in histories for hung in history.hung),
        "played.csv": table(row for visit in stories.played(histories) for row in readings(visit)),
        "stories.json": _json(
            {"as_of": AS_OF.isoformat(), "swaps": stories.swaps(), "acts": stories.acts(histories)}
        ),
    }
    for code, *_ in SITES:
        files |= _site(code, [h for h in histories if h.hung[0].point.site == code])
    return files


def _site(code: str, histories: list[History]) -> dict[str, str]:
    visits = sorted(
        (v for h in histories for v in h.visits if not stories.is_played(v, h)),
        key=lambda visit: (visit.day, visit.point.tag),
    )
    return {
        f"{code}_products.csv": table(
            _product(n, row) for n, row in PRODUCTS.items() if code in row[-1]
        ),
        f"{code}_tanks.csv": table(
            _tank(kind, n) for kind in TANKS if kind.site == code for n in kind.numbers
        ),
        f"{code}_register.csv": table(_registered(history) for history in histories),
        f"{code}_standards.csv": table(_certified(code)),
        f"{code}_calibrations.csv": table(row for visit in visits for row in readings(visit)),
    }


def table(rows: Iterable[Row]) -> str:
    rows = list(rows)
    columns = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _json(what: Any) -> str:
    return json.dumps(what, ensure_ascii=False, indent=1) + "\n"


# ---- one row each ----
def _product(name: str, facts: tuple[str, ...]) -> Row:
    conducts, permittivity, at, density, density_at, per_k, _ = facts
    return {
        "product": name,
        "conducts": conducts,
        "permittivity": permittivity,
        "permittivity at (°C)": at,
        "permittivity per K": "-0.004" if permittivity and conducts == "no" else "",
        "density (kg/m3)": density,
        "density at (°C)": density_at,
        "density per K": per_k,
    }


def _tank(kind: TankKind, number: int) -> Row:
    size = {f"{name} (m)" if name not in ("bottom", "roof") else name: kind.size.get(name, "")
            for name in ("diameter", "height", "length", "width", "bottom", "bottom depth", "roof", "roof depth",
                         "datum")}  # fmt: skip
    place = kind.numbers.index(number)
    return {
        "area": kind.area,
        "tank": f"T-{number}",
        "shape": kind.shape,
        **size,
        "lowest level (m)": kind.levels[0],
        "highest level (m)": kind.levels[1],
        "wall conducts": "yes" if kind.wall_conducts else "no",
        "product": kind.products[place % len(kind.products)],
        "product temperature (°C)": kind.celsius,
    }


def _registered(history: History) -> Row:
    first = history.hung[0]
    point = first.point
    is_volume = point.unit == "m3"
    low, high = _digits(point.lower), _digits(point.upper)
    return {
        "tag": point.tag,
        "tank": point.tank,
        "indicates": "volume" if is_volume else "level",
        "LRV (m)": "" if is_volume else low,
        "URV (m)": "" if is_volume else high,
        "LRV (m3)": low if is_volume else "",
        "URV (m3)": high if is_volume else "",
        "signal": point.signal,
        "tolerance": _digits(point.of.tolerance),
        "tolerance unit": "mm" if point.is_custody else "%",
        "adjust limit": _digits(point.adjust_limit),
        "duty": point.duty,
        "procedure": point.of.procedure,
        "interval (months)": point.months,
        "grace (days)": GRACE[point.months],
        "job hours": point.of.hours,
        "serial": first.serial,
        "maker": point.maker[0],
        "model": point.maker[1],
        "principle": point.of.principle,
        "wiring": point.wiring,
        **_probe(point),
        "installed": first.since.isoformat(),
    }


def _probe(point: Point) -> Row:
    if not point.of.principle.startswith("capacitance"):
        return {}
    reach = abs(point.upper - point.lower) + 0.2
    insulated = point.family in ("rod, conducting", "rope, molasses")
    return {
        "probe length (mm)": _digits(1000 * reach),
        "probe diameter (mm)": "12" if "rod" in point.family else "8",
        "insulation (mm)": "2" if insulated else "",
        "insulation permittivity": "2.1" if insulated else "",
    }


def _certified(site: str) -> Iterable[Row]:
    for one in STANDARDS:
        if one.site != site:
            continue
        for certificate in certificates_of(one, until=AS_OF):
            yield {
                "standard": one.name,
                "kind": one.kind,
                "maker": "Tarn & Weir" if one.kind == "multimeter" else "Carrow Instruments",
                "model": one.model,
                "serial": one.serial,
                "interval (months)": one.months,
                "certificate": certificate.number,
                "laboratory": LABORATORY[0],
                "accreditation": LABORATORY[1],
                "issued": certificate.issued.isoformat(),
                "valid until": certificate.valid_until.isoformat(),
                "unit": one.unit,
                "range from": "0",
                "range to": one.top,
                "% of reading": one.of_reading,
                "absolute": one.absolute,
                "resolution": one.resolution,
                "U": one.absolute or one.resolution,
                "k": "2",
            }


def readings(visit: Visit) -> Iterable[Row]:
    """One row a reading, as the import of past calibrations takes them."""
    point = visit.point
    is_volume, is_current = point.unit == "m3", point.signal.endswith("mA")
    for row in visit.rows:
        applied = _digits(row.applied)
        observed = f"{row.observed:.3f}" if is_current else f"{row.observed:.4f}"
        yield {
            "record": visit.key,
            "tag": point.tag,
            "serial": visit.serial,
            "day": visit.day.isoformat(),
            "performed by": visit.by,
            "approved by": visit.approved_by,
            "approved on": visit.approved_on.isoformat(),
            "way": point.of.way,
            "procedure": point.of.procedure,
            "ambient (°C)": f"{visit.ambient:.1f}",
            "product (°C)": f"{visit.product:.1f}",
            "standards": "; ".join(visit.standards),
            "adjusted": "; ".join(visit.adjusted),
            "stage": row.stage,
            "run": 1,
            "reading": row.number,
            "direction": "up" if row.rising else "down",
            "applied (m)": "" if is_volume else applied,
            "applied (m3)": applied if is_volume else "",
            "observed (mA)": observed if is_current else "",
            "observed (V)": "" if is_current else observed,
            "indication (m)": "" if row.indication is None else f"{row.indication:.4f}",
            "no as found because": visit.no_as_found,
            "note": visit.note,
        }


def _truth(hung: Hung) -> Row:
    """The drift law put into one transmitter; see calibration.demo.laws for what the figures mean."""
    law = hung.law
    return {
        "tag": hung.point.tag,
        "serial": hung.serial,
        "since": hung.since.isoformat(),
        "family": hung.point.family,
        "zero rate (%/year)": f"{law.zero_rate:.5f}",
        "rate at span (%/year)": f"{law.rate_at_span:.5f}",
        "walk (%/sqrt year)": f"{law.walk:.5f}",
        "scatter (%)": f"{law.scatter:.5f}",
        "hysteresis (%)": f"{law.hysteresis:.3f}",
        "story": hung.story,
    }


def _digits(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return text or "0"
