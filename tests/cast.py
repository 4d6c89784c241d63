"""The people of every test (a pytest plugin, see conftest.py): one per role, and an outsider of
another site.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from plant.people.models import Person
from plant.sites.models import Site
from tests.makers import a_person, a_site


@pytest.fixture
def site(db) -> Site:
    return a_site()


@pytest.fixture
def planner(site) -> Person:
    return a_person("amarrowby", "planner", name="A. Marrowby")


@pytest.fixture
def technician(site) -> Person:
    return a_person("tquillane", "technician", name="T. Quillane")


@pytest.fixture
def second_technician(site) -> Person:
    return a_person("rostervane", "technician", name="R. Ostervane")


@pytest.fixture
def approver(site) -> Person:
    return a_person("sfenharrow", "approver", name="S. Fenharrow")


@pytest.fixture
def auditor(site) -> Person:
    return a_person("ldravane", "auditor", name="L. Dravane")


@pytest.fixture
def administrator(site) -> Person:
    return a_person("ethornquay", "administrator", name="E. Thornquay")


@pytest.fixture
def outsider(db) -> Person:
    """Holds every role, at another site."""
    elsewhere = a_site("N", "Neelghat", "Asia/Kolkata")
    return a_person(
        "vsarnekar", "planner", "technician", "approver", "auditor", "administrator",
        site=elsewhere, name="V. Sarnekar",
    )  # fmt: skip


@pytest.fixture
def sign_in(db) -> Callable[[Person], Client]:
    """A signed-in client for a person."""

    def client_of(person: Person) -> Client:
        client = Client()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return client_of
