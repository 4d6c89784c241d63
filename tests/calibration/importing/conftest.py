from __future__ import annotations

import pytest

from tests.makers import a_tank


@pytest.fixture(autouse=True)
def _uploads(uploads):
    """Every test here has a folder of its own for what is uploaded."""


@pytest.fixture
def tank(site):
    return a_tank()
