"""The look: readable in both themes, clean under the strict policy, navigation by role."""

import re
from pathlib import Path
from types import SimpleNamespace

import django_tables2
import pytest
from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.template.loader import render_to_string
from django.test import RequestFactory

from deploy import context
from tests.folded import folded

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
        (
            "planner",
            "Due, Jobs, Rounds, Proposals, Register, Imports, Standards, Records, Findings, Ledger",
        ),
        ("technician", "Jobs, In the plant, Register, Standards, Procedures, Records"),
        ("approver", "Due, Proposals, Register, Standards, Procedures, Records, Findings, Ledger"),
        ("auditor", "Due, Register, Standards, Records, Findings, Ledger"),
        ("administrator", "Home, People"),
    ],
)
def test_each_role_sees_its_own_pages(role, labels):
    assert {item.label for item in nav(role)} == set(labels.split(", "))


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


@pytest.mark.parametrize("page", ["400", "403", "404", "413", "500", "csrf_failure", "locked_out"])
def test_refusal_page_stands_alone_and_leads_back(page):
    shown = render_to_string(f"{page}.html")
    assert shown.count("<h1>") == 1
    assert 'class="button" href="/"' in shown
    assert "Sign out" not in shown


def test_sign_in_page_shows_what_was_wrong_beside_the_field():
    form = AuthenticationForm(data={"username": "", "password": ""})
    assert not form.is_valid()
    shown = render_to_string("registration/login.html", {"form": form})
    assert 'id="id_username_error"' in shown
    assert 'aria-describedby="id_username_error"' in shown


def test_form_field_shows_its_unit_hint_and_error():
    class Range(forms.Form):
        lower = forms.DecimalField(
            help_text="The level at 4 mA.", widget=forms.TextInput(attrs={"data-unit": "m"})
        )

    shown = folded(render_to_string("form.html", {"form": Range({"lower": "0,2 m"})}))
    assert '<span class="unit">m</span>' in shown
    assert 'value="0,2 m"' in shown  # nothing typed is lost
    assert 'aria-describedby="id_lower_helptext id_lower_error"' in shown
    assert "1 field below needs correcting" in shown


def test_lean_table_marks_the_sorted_column_and_keeps_the_filter():
    class Points(django_tables2.Table):
        tag = django_tables2.Column()
        area = django_tables2.Column(orderable=False)

        class Meta:
            template_name = "spanbook_table.html"

    request = RequestFactory().get("/points/?area=North&sort=-tag&page=2")
    table = Points([{"tag": f"LT-{i:03}", "area": "<North>"} for i in range(120)])
    django_tables2.RequestConfig(request, paginate={"per_page": 50}).configure(table)
    shown = folded(table.as_html(request))
    assert shown.count("<tr>") == 51
    assert 'aria-sort="descending"><a href="?area=North&amp;sort=tag">' in shown
    assert "51 to 100 of 120" in shown
    assert "&lt;North&gt;" in shown
    assert "page=3" in shown
