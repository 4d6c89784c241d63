"""A token that grew old: a page for people, words in JSON for tablets."""

from __future__ import annotations

import pytest
from django.test import Client


@pytest.mark.parametrize(("method", "address"), [
    ("post", "/field/sign/"),
    ("post", "/field/works/00000000-0000-4000-8000-000000000001/"),
    ("put", "/field/works/00000000-0000-4000-8000-000000000001/photos/aa/"),
])  # fmt: skip
def test_a_tablet_is_told_in_json(db, method, address):
    answer = getattr(Client(enforce_csrf_checks=True), method)(address)
    assert answer.status_code == 403
    assert answer.json()["token"] == "old"
    assert "stays on the tablet" in answer.json()["said"]


@pytest.mark.parametrize("address", ["/sign-in/", "/field/", "/jobs/"])
def test_a_person_sees_a_page(db, address):
    answer = Client(enforce_csrf_checks=True).post(address)
    assert answer.status_code == 403
    assert answer.headers["Content-Type"].startswith("text/html")
