"""What the tests of works from the plant share."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from calibration.jobs.models import Job
from tests.makers import NOON, a_job, a_procedure, an_equipped_point


@pytest.fixture
def now() -> dt.datetime:
    return timezone.now()


@pytest.fixture
def job(technician) -> Job:
    """LT-101A, with a published procedure, in the technician's hand."""
    a_procedure()
    return a_job(an_equipped_point(), by=technician)


@pytest.fixture
def noon(monkeypatch):
    """The pages' clock stands at the makers' noon."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)
