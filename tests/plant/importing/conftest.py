from __future__ import annotations

import pytest

from tests.makers import a_tank


@pytest.fixture(autouse=True)
def uploads(tmp_path, settings):
    """Uploaded files of a test go to its own folder."""
    settings.DATA = tmp_path
    return tmp_path / "uploads"


@pytest.fixture
def tank(site):
    return a_tank()
