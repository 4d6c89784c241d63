"""Templates are loaded without the indentation of their lines."""

import pytest
from django.template import Context, engines
from django.template.engine import Engine
from django.template.loader import get_template

TEXT = "<ul>\n  {% for n in rows %}\n    <li>{{ n }} and\n      more</li>\n  {% endfor %}\n</ul>\n"


@pytest.fixture
def engine(tmp_path) -> Engine:
    for name in ("page.html", "mail.txt"):
        (tmp_path / name).write_text(TEXT)
    return Engine(dirs=[str(tmp_path)], loaders=["deploy.loaders.Lean"])


def test_page_is_sent_without_indentation_and_with_every_line_break(engine):
    page = engine.get_template("page.html")
    assert page.source == "\n".join(line.lstrip() for line in TEXT.split("\n"))
    assert page.source.count("\n") == TEXT.count("\n")


def test_text_keeps_its_indentation(engine):
    assert engine.get_template("mail.txt").source == TEXT


def test_value_keeps_its_own_white_space(engine):
    shown = engine.get_template("page.html").render(Context({"rows": ["a\n    b"]}))
    assert "<li>a\n    b and\nmore</li>" in shown


@pytest.mark.parametrize(
    "name", ["frame.html", "calibration/due/due.html", "plant/tanks/tank.html"]
)
def test_every_folder_of_templates_is_loaded_so(name):
    assert "\n  " not in get_template(name).template.source
    assert engines["django"].engine.app_dirs is False
