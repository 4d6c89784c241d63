"""What the settings promise: closed by default, strict headers, no endless guessing of
passwords.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from django.urls import get_resolver

from deploy.environment import CHECKOUT


def check_for_production(tmp_path, **variables: str) -> subprocess.CompletedProcess[str]:
    fixed = {
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
        "SPANBOOK_MODE": "production",
        "SPANBOOK_DATA": str(tmp_path),
        "SPANBOOK_SECRET_KEY": "0123456789-abcdefghijklmnopqrstuvwxyz-for-this-check-only",
        "SPANBOOK_HOSTS": "book.example.com",
    }
    # What the tests themselves run with must not reach it.
    ours = ("DATABASE_URL", "REDIS_URL", "DJANGO_ALLOW_ASYNC_UNSAFE")
    inherited = {key: value for key, value in os.environ.items() if key not in ours}
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=CHECKOUT,
        env=inherited | fixed | variables,
        capture_output=True,
        text=True,
        check=False,
    )


def test_production_settings_pass_every_check(tmp_path):
    done = check_for_production(tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("SPANBOOK_HOSTS", "", "the host names people type"),
        ("SPANBOOK_SECRET_KEY", "", "at least 50 characters"),
        ("SPANBOOK_SMTP_PORT", "mail", "a whole number from 1 to 65535"),
    ],
)
def test_production_does_not_start_on_a_wrong_setting(tmp_path, name, value, says):
    done = check_for_production(tmp_path, **{name: value})
    assert done.returncode == 1
    assert done.stderr.startswith(f"Spanbook: {name}={value!r} cannot be used.")
    assert says in done.stderr


def test_every_page_asks_for_a_sign_in_unless_it_says_otherwise(client, db):
    answer = client.get("/password/")
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/")
    open_pages = {
        pattern.name
        for pattern in get_resolver().url_patterns
        if getattr(getattr(pattern, "callback", None), "login_required", True) is False
    }
    assert open_pages == {"health", "sign-in"}


def test_pages_carry_a_policy_without_inline_code(client, db):
    policy = client.get("/sign-in/")["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy


def test_guessing_a_password_ends_at_the_fifth_wrong_one(client, django_user_model):
    person = django_user_model(username="tquillane", name="T. Quillane")
    person.set_password("a-right-and-long-one")
    person.save()
    answers = [
        client.post("/sign-in/", {"username": "tquillane", "password": f"wrong {n}"}).status_code
        for n in range(5)
    ]
    assert answers == [200, 200, 200, 200, 429]
    right = {"username": "tquillane", "password": "a-right-and-long-one"}
    assert client.post("/sign-in/", right).status_code == 429
    # Another place may still sign in: whoever guesses locks out only themselves.
    assert client.post("/sign-in/", right, REMOTE_ADDR="192.0.2.7").status_code == 302


def test_behind_a_proxy_the_sender_is_the_last_address_it_added(rf, settings):
    from deploy.middleware import behind_proxy

    seen = []
    ask = behind_proxy(lambda request: seen.append(request.META["REMOTE_ADDR"]))
    headers = {"HTTP_X_FORWARDED_FOR": "203.0.113.9, 192.0.2.7", "REMOTE_ADDR": "127.0.0.1"}
    settings.PRODUCTION = True
    ask(rf.get("/", **headers))
    settings.PRODUCTION = False
    ask(rf.get("/", **headers))
    assert seen == ["192.0.2.7", "127.0.0.1"]


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/q/M/%00/", "/jobs/?q=%00", "/register/?q=LT%00", "/%00/"])
def test_a_null_character_in_an_address_is_not_found(address, sign_in, planner):
    assert sign_in(planner).get(address).status_code == 404
