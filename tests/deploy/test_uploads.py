"""Bodies over the limit are refused before anything of them is read."""

from __future__ import annotations

from deploy import middleware


class Endless:
    """A browser that keeps sending; counts what was taken from it."""

    def __init__(self) -> None:
        self.taken = 0

    def read(self, size: int) -> bytes:
        self.taken += size
        return bytes(size)

    readline = read


def send(client, *, length: int, body: Endless):
    about = {"CONTENT_LENGTH": str(length), "wsgi.input": body}
    return client.post("/sign-in/", b"", content_type="application/octet-stream", **about)


def test_a_body_over_the_limit_is_refused_with_a_page_that_says_the_limit(client, db, settings):
    settings.UPLOAD_LIMIT = 50 * settings.MEGABYTE
    answer = send(client, length=200 * settings.MEGABYTE, body=Endless())
    assert answer.status_code == 413
    assert "What you sent is 200 MB; up to 50 MB are accepted." in answer.content.decode()


def test_a_refused_body_is_taken_in_only_so_far(client, db, settings, monkeypatch):
    monkeypatch.setattr(middleware, "SWALLOW_BYTES", 3 * settings.MEGABYTE)
    body = Endless()
    assert send(client, length=10**12, body=body).status_code == 413
    assert body.taken == 3 * settings.MEGABYTE


def test_a_body_within_the_limit_is_read_as_ever(client, db):
    assert client.post("/sign-in/", {"username": "nobody", "password": "x"}).status_code == 200
