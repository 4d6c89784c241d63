"""One act, one transaction: what enters the ledger does so in the transaction of the change itself."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.db.transaction import Atomic

ROOT = Path(__file__).resolve().parent.parent
FILES = sorted(path for app in ("plant", "calibration") for path in (ROOT / app).glob("*/*acts.py"))


def acts() -> Iterator[tuple[str, Callable]]:
    """Every public function of an acts file that enters the ledger itself."""
    for path in FILES:
        module = importlib.import_module(
            f"{path.parent.parent.name}.{path.parent.name}.{path.stem}"
        )
        for name, function in inspect.getmembers(module, inspect.isfunction):
            own = function.__module__ == module.__name__ and not name.startswith("_")
            if own and "enter" in inspect.unwrap(function).__code__.co_names:
                yield f"{module.__name__}.{name}", function


def is_one_transaction(act: Callable) -> bool:
    """Decorated by ``transaction.atomic``, or with a block of it."""
    cells = [cell.cell_contents for cell in act.__closure__ or ()]
    decorated = any(isinstance(cell, Atomic) for cell in cells)
    return decorated or "atomic" in inspect.unwrap(act).__code__.co_names


def test_the_acts_are_found():
    assert len(dict(acts())) > 40


@pytest.mark.parametrize("act", [pytest.param(act, id=name) for name, act in acts()])
def test_an_act_is_one_transaction(act):
    assert is_one_transaction(act)
