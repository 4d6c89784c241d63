"""The arrows of the house: pages → operations → models → pure cores; calibration → plant, never back."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def imports_of(path: Path) -> set[str]:
    """Every module a file names in an import, wherever in the file it stands."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def offenders(folder: str, *forbidden: str) -> list[str]:
    """Files under ``folder`` that import a forbidden module or anything inside it."""
    return [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted((ROOT / folder).rglob("*.py"))
        for name in sorted(imports_of(path))
        if any(name == wall or name.startswith(f"{wall}.") for wall in forbidden)
    ]


@pytest.mark.parametrize("core", ["plant.level", "calibration.metrology"])
def test_a_pure_core_loads_nothing_of_django(core):
    names = [f"{core}.{path.stem}" for path in (ROOT / core.replace(".", "/")).glob("[a-z]*.py")]
    program = f"import sys, {', '.join(names)}; print([m for m in sys.modules if 'django' in m])"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_plant_knows_nothing_of_calibration():
    assert offenders("plant", "calibration") == []


@pytest.mark.parametrize("app", ["plant", "calibration"])
def test_operations_know_no_page_form_or_task(app):
    above = [
        f"{a}.{part}" for a in ("plant", "calibration") for part in ("views", "forms", "tasks")
    ]
    assert offenders(f"{app}/operations", *above, "django.shortcuts") == []


@pytest.mark.parametrize("app", ["plant", "calibration"])
def test_models_know_no_operation_or_page(app):
    above = [
        f"{a}.{part}"
        for a in ("plant", "calibration")
        for part in ("operations", "views", "forms", "tasks")
    ]
    assert offenders(f"{app}/models", *above) == []


def test_metrology_uses_only_the_pure_core_below_it():
    assert offenders("calibration/metrology", "calibration.models", "plant.models", "celery") == []


def test_the_apps_do_not_lean_on_the_project_that_runs_them():
    """Arrows go from deploy to the apps; templates and static files are found by name, not imported."""
    assert offenders("plant", "deploy") + offenders("calibration", "deploy") == []
