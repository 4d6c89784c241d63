from __future__ import annotations

import pytest

from tests.makers import NOON


@pytest.fixture
def noon(monkeypatch):
    """The pages' clock stands at the makers' noon."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)
