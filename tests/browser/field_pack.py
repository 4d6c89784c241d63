"""A pack as the site hands it out, small and fixed: what the guided job's own modules are tried
with.

Marram Point, tank T-101, range 0.3 to 8.3 m as 4-20 mA, tolerance 1 %, adjust limit 0.5 %; on 5 May
2026.
"""

from __future__ import annotations

from typing import Any

NOW = "2026-05-05T08:00:00.000Z"


def packed_step(number: int, kind: str, text: str, stage: str = "", **more: Any) -> dict[str, Any]:
    plain = {"key": f"K{number}", "settle_seconds": None, "asks": [], "stop": "", "wordings": []}
    return {"number": number, "kind": kind, "stage": stage, "text": text, **plain, **more}


def steps(*, found: int = 1, adjusts: bool = True) -> list[dict[str, Any]]:
    """Two cautions, standards, the stages and one restoring step."""
    standards = [{"name": "standards", "label": "Standards", "kind": "standards", "needed": True}]
    plan = [
        ("caution", "Permit in force.", "", {}),
        ("caution", "Control room told.", "", {}),
        ("prepare", "Choose standards.", "", {"asks": standards}),
        ("read", "As it stands.", "as it stands", {}),
        *[("read", "As found.", "as found", {})] * found,
        *([("adjust", "Zero, then span.", "", {}), ("read", "As left.", "as left", {})] if adjusts else []),
        ("restore", "Loop returned.", "", {}),
    ]  # fmt: skip
    return [
        packed_step(n, kind, text, stage, **more)
        for n, (kind, text, stage, more) in enumerate(plan, 1)
    ]


def packed_procedure(**more: Any) -> dict[str, Any]:
    facts = {
        "id": 7,
        "key": "cap-output",
        "name": "Capacitance, output part",
        "number": 1,
        "way": "simulated output",
        "shape": "test points",
        "percents": ["0", "50", "100"],
        "up_and_down": False,
        "settle_seconds": 0,
        "adjusts": ["output trim low", "output trim high"],
        "stops": ["Gas alarm."],
        "steps": steps(),
    }
    return {**facts, **more}


def two_levels(**more: Any) -> dict[str, Any]:
    facts = {"shape": "two known levels", "way": "wetted level by dip", "percents": ["20", "80"]}
    return packed_procedure(
        **{**facts, "adjusts": ["zero", "span"], "steps": steps(found=2), **more}
    )


def only_looks() -> dict[str, Any]:
    return packed_procedure(
        shape="as it stands only", adjusts=[], steps=steps(found=0, adjusts=False)
    )


def packed_job(**more: Any) -> dict[str, Any]:
    register = {
        "tag": "LT-101A", "tank_name": "T-101", "product_name": "palm olein", "serial": "S00001",
        "quantity": "level", "unit": "m", "lower": "0.3", "upper": "8.3", "signal": "4-20mA",
        "tolerance": "1", "tolerance_unit": "%", "tolerance_percent": 1.0, "adjust_limit_percent": 0.5,
    }  # fmt: skip
    facts = {
        "id": 31, "site": 1, "site_name": "Marram Point", "time_zone": "Europe/Lisbon", "today": "2026-05-05",
        "state": "in hand", "why": "interval", "due_on": "2026-05-12", "planned_on": None, "note": "",
        "return_reason": "", "round": None, "stop_number": None, "mine": True, "register": register,
        "register_sha": "0" * 64, "point": {"id": 3, "url": "/points/3/", "duty": "process", "is_reverse": False,
        "tank_id": 2, "area": "Quay park"}, "tank": {"conducts": True, "drawing": None},
        "product": {"name": "palm olein", "conducts": False, "c": 40.0},
        "transmitter": {"id": 5, "serial": "S00001", "maker": "Tarn & Weir", "model": "R4",
        "principle": "capacitance rod", "wiring": "3-wire"}, "procedures": [7], "rule": "simple acceptance",
        "least_tur": 4, "kit": {}, "last": None,
    }  # fmt: skip
    return {**facts, **more}


def a_pack(job: dict[str, Any], procedure: dict[str, Any]) -> dict[str, Any]:
    standard = {
        "id": 11, "site": 1, "name": "MM-01", "kind": "multimeter", "maker": "", "model": "", "serial": "",
        "mine": True, "note": "", "certificates": [{"number": "C-1", "from": "2026-01-15", "until": "2027-01-14",
        "unit": "mA", "low": "0", "high": "24"}],
    }  # fmt: skip
    return {
        "format": 1, "made_at": "2026-05-05T06:00:00Z", "person": {"id": 9, "name": "T. Quillane",
        "username": "tquillane"}, "key": "", "standards": [standard], "procedures": {"7": procedure}, "jobs": [job],
    }  # fmt: skip
