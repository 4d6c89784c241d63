"""A bad network between a browser and a server: requests cut, answers lost, delayed, doubled and
out of order.
"""

from __future__ import annotations

import random
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable

Route = Callable[[str], tuple[str, int]]
WHOLE, DROP, CUT, LOST, TORN, LATE, TWICE = "whole", "drop", "cut", "lost", "torn", "late", "twice"


class Proxy:
    """Listens on a port of its own. ``route``: path → host and port. ``bad``: the share of requests
    that go wrong.

    drop: closed unread. cut: sent on up to a random byte only. lost: served, the answer thrown
    away. torn: the answer cut at a random byte. late: sent on after a while. twice: sent on once
    more, later, after what follows it.
    """

    def __init__(self, route: Route, *, seed: int, bad: float = 0.5, only: str = "/field/") -> None:
        self.route, self.bad, self.only = route, bad, only
        self.chance = random.Random(seed)  # noqa: S311 - which request fails is no secret
        self.done: Counter[str] = Counter()
        self.lock = threading.Lock()
        self.threads: list[threading.Thread] = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        self.listener.close()
        for thread in self.threads:
            thread.join(10)

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self.listener.accept()
            except OSError:
                return
            self._begin(self._serve, client)

    def _begin(self, work: Callable[..., None], *words: object) -> None:
        thread = threading.Thread(target=work, args=words, daemon=True)
        self.threads.append(thread)
        thread.start()

    def _serve(self, client: socket.socket) -> None:
        with client:
            client.settimeout(20)
            request = _read_request(client)
            if not request:
                return
            path = request.split(b" ", 2)[1].decode()
            with self.lock:
                fault = self._fault(path)
                self.done[fault] += 1
                share = self.chance.random()
                wait = self.chance.uniform(0, 0.3)
            answer = self._through(request, path, fault, share, wait)
            try:
                client.sendall(answer)
            except OSError:
                return

    def _fault(self, path: str) -> str:
        if not path.startswith(self.only) or self.chance.random() > self.bad:
            return WHOLE
        return self.chance.choice([DROP, CUT, LOST, TORN, LATE, TWICE])

    def _through(self, request: bytes, path: str, fault: str, share: float, wait: float) -> bytes:
        target = self.route(path)
        if fault == DROP:
            return b""
        if fault == CUT:
            self._begin(_exchange, target, request[: int(share * len(request))], True)
            return b""
        if fault == LATE:
            time.sleep(wait)
        if fault == TWICE:
            self._begin(_later, 3 * wait, target, request)
        answer = _exchange(target, request)
        if fault == LOST:
            return b""
        return answer[: int(share * len(answer))] if fault == TORN else answer


def _later(wait: float, target: tuple[str, int], request: bytes) -> None:
    time.sleep(wait)
    _exchange(target, request)


def _read_request(client: socket.socket) -> bytes:
    """One whole request; its connection is closed after the answer, so that each is dealt with
    alone.
    """
    try:
        head = b""
        while b"\r\n\r\n" not in head:
            part = client.recv(65536)
            if not part:
                return b""
            head += part
        head, _, body = head.partition(b"\r\n\r\n")
        lines = head.split(b"\r\n")
        length = next(
            (int(line[15:]) for line in lines if line.lower().startswith(b"content-length:")), 0
        )
        while len(body) < length:
            part = client.recv(65536)
            if not part:
                return b""
            body += part
    except OSError:
        return b""
    kept = [line for line in lines if not line.lower().startswith(b"connection:")]
    return b"\r\n".join([*kept, b"Connection: close"]) + b"\r\n\r\n" + body


def _exchange(target: tuple[str, int], request: bytes, is_cut: bool = False) -> bytes:
    """The whole answer; empty where the server is not there or goes away."""
    try:
        with socket.create_connection(target, timeout=20) as server:
            server.sendall(request)
            if is_cut:
                return b""
            parts = []
            while part := server.recv(65536):
                parts.append(part)
            return b"".join(parts)
    except OSError:
        return b""
