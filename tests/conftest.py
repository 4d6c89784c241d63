"""What every test may use."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import hypothesis
import pytest
from django.conf import settings
from django.db import connection

from calibration.charts import ensure_script
from tests.servers import servers

pytest_plugins = ["tests.cast"]

# A shared machine may be slow for a moment: no time limit for each random case.
hypothesis.settings.register_profile("patient", deadline=None)
hypothesis.settings.load_profile("patient")

# Playwright keeps an event loop in the thread of the tests, in which Django would refuse the
# database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

BROWSER_WORDS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    """The system's Chromium, quiet: it talks to nobody but the test server. Pages with a chart need
    its library.
    """
    ensure_script(Path(settings.BASE_DIR) / "deploy" / "static" / "built")
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    return browser_type_launch_args | {"executable_path": found, "args": BROWSER_WORDS}


# Nothing in these folders needs a database.
PURE = [
    Path(settings.BASE_DIR) / folder
    for folder in (
        "plant/level",
        "calibration/metrology",
        "tests/plant/level",
        "tests/calibration/metrology",
        "tests/published",
    )
]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes():
    """Each worker has servers of its own."""
    servers.forget()


def pytest_collection_finish(session):
    pure = (set(item.path.parents) & set(PURE) for item in session.items)
    if not all(pure) and not session.config.option.collectonly:
        servers.start()


def pytest_unconfigure():
    servers.stop()


# Of several workers each takes a file at a time: the longest come first, so that all end together.
LONGEST = ["test_run.py", "test_field_kept.py", "test_field_job.py", "test_field_sending.py"]


def pytest_collection_modifyitems(config, items):
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: (item.path.name not in LONGEST, not _drives_a_browser(item)))
    if shutil.which("chromium") or shutil.which("chromium-browser"):
        return
    for item in items:
        if _drives_a_browser(item):
            item.add_marker(pytest.mark.skip(reason="no chromium on this machine"))


def _drives_a_browser(item) -> bool:
    return item.get_closest_marker("browser") is not None


@pytest.fixture
def uploads(tmp_path, settings):
    """The folder of uploaded files, of this test alone."""
    settings.DATA = tmp_path
    return tmp_path / "uploads"


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """Transactional tests clean up by TRUNCATE, so the walls against it are let down in the test
    database.
    """
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        for table, trigger in walls_against_truncate(cursor):
            cursor.execute(f'ALTER TABLE "{table}" DISABLE TRIGGER "{trigger}"')


def walls_against_truncate(cursor) -> list[tuple[str, str]]:
    cursor.execute(
        "SELECT relname, tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
        r"WHERE tgname LIKE '%\_no\_truncate' AND NOT tgisinternal"
    )
    return cursor.fetchall()
