"""Templates, style sheets, scripts and tests keep to lines that can be read and compared.

The product's Python is held to 100 characters by ruff.
"""

import re
from pathlib import Path

import pytest
from django.conf import settings

BASE = Path(settings.BASE_DIR)
LONGEST_LINE = 120
"""Characters."""
LONGEST_SCRIPT = 400
"""Lines of one script."""
TEMPLATES = [*BASE.glob("*/templates/**/*.html"), *BASE.glob("*/templates/**/*.txt")]
STYLES = [*BASE.glob("deploy/static/*.css")]
SCRIPTS = [*BASE.glob("deploy/static/*.js"), *BASE.glob("deploy/static/field/**/*.js")]
TESTS = [*BASE.glob("tests/**/*.py")]
COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
QUOTED_OR_BRACKETED = re.compile(r"\"[^\"]*\"|'[^']*'|\([^()]*\)")


def too_long(paths):
    lines = (
        (path.relative_to(BASE), number, line)
        for path in paths
        for number, line in enumerate(path.read_text().splitlines(), 1)
    )
    return [f"{path}:{number}" for path, number, line in lines if len(line) > LONGEST_LINE]


@pytest.mark.parametrize(
    ("paths", "least"),
    [(TEMPLATES, 140), (STYLES, 5), (SCRIPTS, 30), (TESTS, 200)],
    ids=["templates", "styles", "scripts", "tests"],
)
def test_no_line_is_longer_than_the_limit(paths, least):
    assert len(paths) >= least
    assert too_long(paths) == []


def declarations(line):
    """How many declarations a line of a style sheet holds: ``name: value`` each."""
    bare = QUOTED_OR_BRACKETED.sub("", line)
    body = bare.partition("{")[2] if "{" in bare else bare
    return len([part for part in body.strip(" };").split(";") if ":" in part])


@pytest.mark.parametrize(
    ("line", "many"),
    [
        (".frame { color: red }", 1),
        ("a:hover { color: red; margin: 0 }", 2),
        ("  --edge: #857d6c; --ink: #1a2430;", 2),
        ('  background: url("data:image/svg+xml;utf8,x");', 1),
    ],
)
def test_declarations_of_a_line_are_counted(line, many):
    assert declarations(line) == many


@pytest.mark.parametrize("path", STYLES, ids=lambda path: path.name)
def test_style_sheet_has_one_declaration_a_line(path):
    text = COMMENT.sub(lambda found: "\n" * found[0].count("\n"), path.read_text())
    crowded = [n for n, line in enumerate(text.splitlines(), 1) if declarations(line) > 1]
    assert crowded == []


def test_no_script_is_longer_than_the_limit():
    long = {path.name: len(path.read_text().splitlines()) for path in SCRIPTS}
    assert {name: lines for name, lines in long.items() if lines > LONGEST_SCRIPT} == {}
