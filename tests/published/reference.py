"""The published values of fixtures/reference, by their identifiers."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"


@cache
def _entries() -> dict[str, dict[str, Any]]:
    files = sorted(FOLDER.glob("*.json"))
    return {entry["id"]: entry for file in files for entry in json.loads(file.read_text("utf-8"))}


def reference(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Inputs and expected values of one check."""
    entry = _entries()[name]
    return entry["inputs"], entry["expected"]


def near(name: str, expected: Any, *, digits: int | None = None, nothing: float = 1e-12) -> Any:
    """``expected`` to as many significant digits as the source of this check is trusted for.

    nothing: a difference that is none, for figures that should be zero.
    """
    trusted = digits or _entries()[name]["digits"]
    if trusted == "exact":
        trusted = 13
    return pytest.approx(expected, rel=5 * 10.0**-trusted, abs=nothing)
