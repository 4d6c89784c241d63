"""The arrows of the house: pages → acts → models → pure cores, calibration → plant, lower rooms
never higher ones.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CORES = ("plant.level", "calibration.metrology")
# From the lowest room to the highest. A room may import from itself and from those before it.
ROOMS = {
    "plant": [
        "level",
        "ledger",
        "people",
        "sites",
        "products",
        "tanks",
        "points",
        "transmitters",
        "product_changes",
        "importing",
    ],
    "calibration": [
        "metrology",
        "standards",
        "procedures",
        "policies",
        "jobs",
        "records",
        "families",
        "drift",
        "status",
        "intervals",
        "deferrals",
        "findings",
        "approval",
        "tablet",
        "product_changes",
        "fleet",
        "due",
        "rounds",
        "reminders",
        "waiting",
        "points",
        "labels",
        "history",
        "importing",
        "demo",
    ],
}
# What makes a module part of a page: its name, or what it takes from Django to talk to a browser.
PAGE_FILES = {"views", "forms", "tables", "filters", "urls", "tasks", "pages", "templatetags"}
PAGE_FILES |= {"management", "page", "list_page"}
PAGE_LIBRARIES = (
    "django.forms",
    "django.http",
    "django.shortcuts",
    "django.contrib.messages",
    "django.views",
    "django_filters",
    "django_tables2",
    "celery",
)


@cache
def modules() -> dict[str, Path]:
    """Every module of both apps but the migrations, by its dotted name."""
    return {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for app in ROOMS
        for path in sorted((ROOT / app).rglob("*.py"))
        if "migrations" not in path.parts
    }


@cache
def imports_of(path: Path) -> frozenset[str]:
    """Every module a file imports, wherever it stands: also inside functions and under
    TYPE_CHECKING.
    """
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inside = {f"{node.module}.{alias.name}" for alias in node.names}
            named = {name for name in inside if name in modules()}
            names |= named or {node.module}
    return frozenset(names)


def own_imports(name: str) -> set[str]:
    return {other for other in imports_of(modules()[name]) if other in modules()}


def is_inside(name: str, package: str) -> bool:
    return name == package or name.startswith(f"{package}.")


def talks_to_a_browser(name: str) -> bool:
    libraries = imports_of(modules()[name])
    return bool(PAGE_FILES & set(name.split(".")[1:])) or any(
        is_inside(library, page) for library in libraries for page in PAGE_LIBRARIES
    )


@cache
def pages() -> frozenset[str]:
    """The modules of pages, and whatever imports one of them."""
    found = {name for name in modules() if talks_to_a_browser(name)}
    while more := {n for n in modules() if n not in found and own_imports(n) & found}:
        found |= more
    return frozenset(found)


def room_of(name: str) -> int | None:
    """The place of a module's room in its app's order; None for what the whole app shares."""
    app, _, rest = name.partition(".")
    room = rest.partition(".")[0]
    return ROOMS[app].index(room) if room in ROOMS[app] else None


def climbing(app: str) -> Iterator[str]:
    """Imports from a lower room to a higher one, or from what the app shares into a room; pages may
    look anywhere.
    """
    for name in sorted(set(modules()) - pages()):
        if not name.startswith(f"{app}.") or name in (f"{app}.models", f"{app}.apps"):
            continue
        for other in sorted(own_imports(name)):
            there = room_of(other) if other.startswith(f"{app}.") else None
            here = room_of(name)
            if there is not None and (here is None or there > here):
                yield f"{name} imports {other}"


def circle(name: str, path: tuple[str, ...], done: set[str]) -> list[str]:
    """The first circle of imports found from ``name`` on, as the modules it runs through."""
    if name in path:
        return [*path[path.index(name) :], name]
    if name in done:
        return []
    for other in sorted(own_imports(name)):
        if found := circle(other, (*path, name), done):
            return found
    done.add(name)
    return []


@pytest.mark.parametrize("core", CORES)
def test_a_pure_core_loads_nothing_of_django(core):
    names = [name for name in modules() if is_inside(name, core)]
    program = f"import sys, {', '.join(names)}; print([m for m in sys.modules if 'django' in m])"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_plant_knows_nothing_of_calibration():
    back = [
        f"{name} imports {other}"
        for name in modules()
        for other in imports_of(modules()[name])
        if is_inside(name, "plant") and is_inside(other, "calibration")
    ]
    assert back == []


def test_nothing_below_a_page_imports_what_serves_pages():
    """Acts, models and reads know no form, view, template tag or task, not even by way of another
    module.
    """
    below = {"acts", "models", "reads", "querysets", "writer"}
    assert [name for name in sorted(pages()) if name.rsplit(".", 1)[1] in below] == []


def test_models_know_no_act():
    acting = [
        f"{name} imports {other}"
        for name in modules()
        for other in own_imports(name)
        if name.endswith(".models") and other.endswith(".acts")
    ]
    assert acting == []


def test_lower_rooms_of_calibration_import_no_higher_ones():
    assert list(climbing("calibration")) == []


def test_lower_rooms_of_plant_import_no_higher_ones_but_for_their_rows():
    """People hold roles at sites, and the ledger names both: there the rows of a higher room are
    known below it.
    """
    rows = {"plant.people.models", "plant.sites.models"}
    assert [line for line in climbing("plant") if line.split()[-1] not in rows] == []


def test_every_room_has_its_place_in_the_order():
    shared = {"migrations", "templates", "templatetags", "management", "pages"}
    folders = {app: {p.name for p in (ROOT / app).iterdir() if p.is_dir()} for app in ROOMS}
    for app, names in folders.items():
        assert names - shared - {"__pycache__"} == set(ROOMS[app])


def test_no_import_runs_in_a_circle():
    done: set[str] = set()
    assert [found for name in modules() if (found := circle(name, (), done))] == []


def test_the_apps_do_not_lean_on_the_project_that_runs_them():
    """Arrows go from deploy to the apps; templates and static files are found by name, not
    imported.
    """
    leaning = [
        f"{name} imports {other}"
        for name in modules()
        for other in imports_of(modules()[name])
        if is_inside(other, "deploy")
    ]
    assert leaning == []
