"""The look: readable in both themes, clean under the strict policy, navigation by role."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.test import RequestFactory

from deploy import context

BASE = Path(settings.BASE_DIR)
SHEET = (BASE / "deploy/static/look.css").read_text()
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", part))
    for part in SHEET.split("/* ---- base")[0].split("@media (prefers-color-scheme: dark)")
)
# Words on each ground they stand on: 4.5 to 1 (WCAG 2.2, 1.4.3).
WORDS = [
    *((ink, ground) for ink in ("ink", "soft", "accent", "good", "warn", "bad")
      for ground in ("paper", "sheet", "faint")),
    ("accent-ink", "accent"), ("accent-ink", "accent-deep"), ("accent-deep", "sheet"),
    ("accent", "accent-wash"), ("ink", "accent-wash"), ("soft", "accent-wash"),
    ("good", "good-wash"), ("warn", "warn-wash"), ("bad", "bad-wash"),
    ("ink", "good-wash"), ("ink", "warn-wash"), ("ink", "bad-wash"), ("soft", "band"),
]  # fmt: skip
# Edges of controls and shapes that carry meaning: 3 to 1 (1.4.11).
EDGES = [
    ("edge", "sheet"), ("edge", "paper"), ("band-edge", "sheet"), ("bad", "bad-wash"),
    ("ink", "band"), ("bad", "sheet"), ("accent", "band"), ("ink", "accent-fill"),
]  # fmt: skip


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("pairs", "least"), [(WORDS, 4.5), (EDGES, 3.0)], ids=["words", "edges"])
def test_contrast_reaches_double_a(theme, pairs, least):
    poor = {(a, b): round(contrast(theme[a], theme[b]), 2) for a, b in pairs}
    assert {pair: ratio for pair, ratio in poor.items() if ratio < least} == {}


def test_both_themes_name_the_same_tokens():
    assert set(DARK) == set(LIGHT)


def test_templates_hold_no_inline_style_or_script():
    templates = [*BASE.glob("deploy/templates/**/*.html"), *BASE.glob("*/templates/**/*.html")]
    assert len(templates) > 20
    for path in templates:
        text = path.read_text()
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|<script(?![^>]*\ssrc=)", text), path


def nav(*roles, path="/"):
    request = RequestFactory().get(path)
    request.user = SimpleNamespace(roles=set(roles), is_authenticated=True)
    return context.Frame(request).nav


@pytest.fixture
def every_address(monkeypatch):
    """The whole navigation, whichever pages this installation has."""
    monkeypatch.setattr(context, "_url", lambda name: "/" + name.split(":")[-1] + "/")


@pytest.mark.usefixtures("every_address")
@pytest.mark.parametrize(
    ("role", "labels"),
    [
        ("planner", "Due Rounds Register Standards Records Ledger"),
        ("technician", "Jobs Register Standards Records"),
        ("approver", "Due Register Standards Records Findings Ledger"),
        ("auditor", "Due Register Standards Records Ledger"),
        ("administrator", "People"),
    ],
)
def test_each_role_sees_its_own_pages(role, labels):
    assert {item.label for item in nav(role)} == set(labels.split())


@pytest.mark.usefixtures("every_address")
def test_page_beneath_another_keeps_its_place_marked():
    current = [item.label for item in nav("planner", path="/tanks/12/edit/") if item.current]
    assert current == ["Register"]


def test_nobody_signed_in_sees_no_navigation():
    request = RequestFactory().get("/")
    assert context.Frame(request).nav == []
    assert context.Frame(request).person == ""


def test_page_that_is_missing_is_left_out(monkeypatch):
    monkeypatch.setattr(context, "NAVIGATION", (("Gone", "no:such", (), frozenset({"planner"})),))
    assert nav("planner") == []
